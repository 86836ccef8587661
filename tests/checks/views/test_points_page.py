"""A survey's points on the page and by the command."""

import io
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from checks.models import Evaluation, Instrument, Reading
from core.models import Person
from jobs.models import Building
from tests.checks.evaluation.test_survey_readings import lines

pytestmark = pytest.mark.django_db
CHOSEN = {
    "unit": "m",
    "order": "point northing easting elevation description",
    "delimiter": "auto",
    "control": "corners",
}
FAR = {"C": (900.0, 0.0, 0.0)}


@pytest.fixture
def bring(client: Client, building: Building, field_lead: Person) -> Any:
    client.force_login(field_lead, backend="django.contrib.auth.backends.ModelBackend")

    def bring(text: list[str], **more: Any) -> Any:
        file = SimpleUploadedFile("shed.txt", "\n".join(text).encode())
        url = reverse("checks:survey_points", args=[building.pk])
        return client.post(url, {"file": file, **CHOSEN, **more})

    return bring


def shown(response: Any) -> str:
    return str(response.context["page"].survey.entries_hash)


def test_a_survey_is_shown_before_anything_is_recorded(bring: Any) -> None:
    text = [*lines({"S2.3": (9.0, 0.0, 0.0)}), "900,1.0,2.0,3.0,fence", "x,y"]
    response = bring(text)
    page = response.content.decode()
    assert response.status_code == 200
    assert "point, northing, easting" in page
    assert "corner A" in page
    assert "Its description and name match nothing on the plan." in page
    assert "fewer than 3 columns" in page
    assert "Best-fit scale (not applied)" in page
    assert "2 diagonals, 4 walls, 6 reference lines, 24 setbacks" in page
    assert not Reading.objects.exists()
    assert not Instrument.objects.exists()


def test_what_was_shown_is_recorded_once(bring: Any, building: Building) -> None:
    text = lines({"S2.3": (9.0, 0.0, 0.0)})
    told = {"instrument": "TS1", "by": "crew 4", "at": "2026-05-04T08:15"}
    seen = shown(bring(text, **told))
    answer = bring(text, store="yes", seen=seen, **told)
    assert answer.status_code == 302
    stored = Reading.objects.count()
    assert stored == 2 + 4 + 6 + 48 + 6 + 1
    wall = Reading.objects.get(check_key="wall:A-B")
    assert wall.entered == "20.1168 m"
    assert (wall.crew, wall.instrument.name) == ("crew 4", "TS1")
    assert wall.entry["note"] == "point 101 to point 102"
    assert Instrument.objects.get().specification == {"kind": "total station"}
    result = Evaluation.objects.get(building=building).result
    verdicts = {row["check"]: row["verdict"] for row in result["checks"]}
    assert verdicts["setback:S2.3"] == "within"
    assert verdicts["offset:S2.3"] == "outside"
    again = bring(text, store="yes", seen=seen, **told)
    assert again.status_code == 302
    assert Reading.objects.count() == stored


def test_a_later_file_adds_what_is_new_in_it_and_doubles_nothing(
    bring: Any, building: Building
) -> None:
    text = lines()
    morning = [line for line in text if not line.endswith((",S3.4", ",pad S3"))]
    told = {"instrument": "TS1", "by": "crew 4", "at": "2026-05-04T08:15"}
    assert (
        bring(
            morning, store="yes", seen=shown(bring(morning, **told)), **told
        ).status_code
        == 302
    )
    stored = Reading.objects.count()
    told |= {"by": "crew 5", "at": "2026-05-04T16:40"}
    text.append("900,1.0,2.0,3.0,fence")
    answer = bring(text, store="yes", seen=shown(bring(text, **told)), **told)
    assert answer.status_code == 302
    # the rod's setback and offset, the pad, and the line and offsets it shares in
    assert Reading.objects.count() == stored + 3 + 1 + 3
    assert Reading.objects.filter(check_key="wall:A-B").count() == 1
    assert Reading.objects.get(check_key="wall:A-B").crew == "crew 4"
    assert Reading.objects.get(check_key="level:S3").crew == "crew 5"


def test_nothing_is_recorded_that_was_not_shown(bring: Any) -> None:
    seen = shown(bring(lines()))
    response = bring(lines({"S2.3": (9.0, 0.0, 0.0)}), store="yes", seen=seen)
    assert response.status_code == 200
    assert not Reading.objects.exists()


def test_a_point_can_be_left_out_of_the_control(bring: Any) -> None:
    response = bring(lines(FAR))
    assert "from its planned point, more than 100 mm" in response.content.decode()
    assert "Record these readings" not in response.content.decode()
    response = bring(lines(FAR), leave=["103"])
    assert "Record these readings" in response.content.decode()


def test_the_wrong_unit_is_told(bring: Any) -> None:
    response = bring(lines(), unit="mm")
    page = response.content.decode()
    assert response.status_code == 200
    assert not response.context["page"].readings
    assert response.context["page"].survey.surveyed.problem in page


def test_the_wrong_order_of_columns_is_told(bring: Any) -> None:
    order = "point easting northing elevation description"
    assert "most likely exchanged" in bring(lines(), order=order).content.decode()


def test_nothing_is_kept_of_a_survey_that_is_refused(
    bring: Any, building: Building
) -> None:
    """A rod outside the steel line has no setback the record takes."""
    text = lines({"S2.1": (0.0, -200.0, 0.0)})
    told = {"instrument": "TS1"}
    seen = shown(bring(text, **told))
    response = bring(text, store="yes", seen=seen, **told)
    page = response.content.decode()
    assert response.status_code == 400
    assert "setback:S2.1" in page
    assert "cannot be less than zero" in page
    assert not Reading.objects.exists()
    assert not Instrument.objects.exists()


def test_what_is_no_point_file_is_refused_in_words(bring: Any) -> None:
    response = bring(["Dear Sirs"])
    assert response.status_code == 400
    assert "No line of this file is a point" in response.content.decode()
    assert bring([]).status_code == 400


def test_a_reading_of_the_same_point_with_another_choice_is_refused(bring: Any) -> None:
    """The same file says one thing of a check; what corrects it says so."""
    text = lines({"S2.3": (9.0, 0.0, 0.0)})
    bring(text, store="yes", seen=shown(bring(text)))
    other = {"control": "both"}
    answer = bring(text, store="yes", seen=shown(bring(text, **other)), **other)
    assert answer.status_code == 400
    assert "belongs to another reading" in answer.content.decode()


# By the command


def run(*arguments: Any) -> tuple[str, str]:
    out, err = io.StringIO(), io.StringIO()
    call_command(*map(str, arguments), stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def test_a_point_file_comes_in_by_the_command(
    building: Building, field_lead: Person, tmp_path: Any
) -> None:
    file = tmp_path / "shed.csv"
    file.write_text("\n".join([*lines(unit="survey_ft"), "900,1,2,3,fence"]))
    command = ("import_readings", building.pk, file, "--by=fern", "--points=survey_ft")
    said, progress = run(*command, "--instrument=TS1")
    assert "67 recorded" in said
    assert "point 900: Its description and name match nothing on the plan." in progress
    assert "corner A, point 101: 0.0 mm from its place" in progress
    assert Instrument.objects.get().name == "TS1"


def test_a_fit_that_cannot_be_relied_on_is_refused_by_the_command(
    building: Building, field_lead: Person, tmp_path: Any
) -> None:
    file = tmp_path / "shed.txt"
    file.write_text("\n".join(lines(FAR)))
    command = ("import_readings", building.pk, file, "--by=fern", "--points=m")
    with pytest.raises(CommandError, match="more than 100 mm") as error:
        run(*command)
    assert error.value.returncode == 2
    said, _ = run(*command, "--leave=103")
    assert "67 recorded" in said


def test_the_command_refuses_to_leave_a_point_that_is_not_there(
    building: Building, field_lead: Person, tmp_path: Any
) -> None:
    file = tmp_path / "shed.csv"
    file.write_text("\n".join(lines()))
    command = ("import_readings", building.pk, file, "--by=fern", "--points=m")
    with pytest.raises(CommandError, match="There is no point 9O1") as fault:
        run(*command, "--leave=9O1")
    assert fault.value.returncode == 2
    assert not Reading.objects.exists()


def test_the_command_says_when_the_order_of_columns_cannot_be_told(
    building: Building, field_lead: Person, tmp_path: Any
) -> None:
    file = tmp_path / "shed.csv"
    text = [line for line in lines() if line.split(",")[4] not in "CD"]
    file.write_text("\n".join(text))
    _, progress = run("import_readings", building.pk, file, "--by=fern", "--points=m")
    assert "control in one line: northing and easting may be exchanged" in progress
