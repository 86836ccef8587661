"""The command line: plans and readings in, reports out, releases proved."""

import copy
import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from checks.models import Reading, Release
from checks.services.releases import sign_release
from core.models import Person
from jobs.exchange.canonical_json import canonical_json
from jobs.models import Building, Job
from tests.checks.conftest import Measure, as_planned
from tests.example_buildings import shed

pytestmark = pytest.mark.django_db


def run(*arguments: Any, **options: Any) -> str:
    """Run a command and give what it wrote."""
    out = io.StringIO()
    call_command(*map(str, arguments), stdout=out, stderr=io.StringIO(), **options)
    return out.getvalue()


def refused(*arguments: Any) -> CommandError:
    """Run a command that is refused."""
    with pytest.raises(CommandError) as error:
        run(*arguments)
    return error.value


@pytest.fixture
def shipped(building: Building, measure: Measure, operations: Person) -> Release:
    measure(*as_planned(building, "foundation", "verification"))
    return sign_release(actor=operations, building=building, kind="ship")


def write(path: Path, content: object) -> Path:
    path.write_text(content if isinstance(content, str) else json.dumps(content))
    return path


# Plans


def test_a_plan_comes_in_as_a_building_of_the_job(
    job: Job, operations: Person, tmp_path: Path
) -> None:
    said = run("import_plan", job.number, write(tmp_path / "a", shed()), "--by=olive")
    made = Building.objects.get(job=job, name="Larch yard shed")
    assert f"building {made.pk}, plan revision 1" in said
    assert made.current_revision().drawn_by == operations


def test_a_plan_that_does_not_fit_is_refused_with_every_place(
    job: Job, tmp_path: Path
) -> None:
    document = shed(length_unit="cubit")
    document["positions"][1]["detail"] = "Z"
    file = write(tmp_path / "bad.json", document)
    error = refused("import_plan", job.number, file, "--by=olive")
    assert error.returncode == 2
    assert f"{file} /length_unit: " in str(error)
    assert f"{file} /positions/1/detail: " in str(error)
    assert not Building.objects.exists()


def test_a_revision_is_issued_where_it_is_asked_for(
    building: Building, tmp_path: Path
) -> None:
    file = write(tmp_path / "b.json", shed(shim_thicknesses=['1/8"']))
    number = building.job.number
    error = refused("import_plan", number, file, "--by=olive")
    assert "already has a building called" in str(error)
    said = run("import_plan", number, file, "--by=olive", "--revise", "--note=Thicker.")
    assert "plan revision 2" in said
    other = write(tmp_path / "c.json", shed(name="Another"))
    error = refused("import_plan", number, other, "--by=olive", "--revise")
    assert "no building “Another”" in str(error)


@pytest.mark.parametrize(
    ("by", "says"), [("nobody", "no account"), ("fern", "Only the")]
)
def test_a_plan_needs_somebody_who_may_draw(
    job: Job, tmp_path: Path, by: str, says: str
) -> None:
    file = write(tmp_path / "a.json", shed())
    error = refused("import_plan", job.number, file, f"--by={by}")
    assert says in str(error)
    assert error.returncode == 1
    assert not Building.objects.exists()


def test_a_job_or_file_that_is_not_there_is_named(job: Job, tmp_path: Path) -> None:
    file = write(tmp_path / "a.json", shed())
    assert "no job “X-1”" in str(refused("import_plan", "X-1", file, "--by=olive"))
    error = refused("import_plan", job.number, tmp_path / "none.json", "--by=olive")
    assert "cannot be read: No such file" in str(error)


# Readings


def test_readings_come_in_from_a_table(building: Building, tmp_path: Path) -> None:
    """A number alone is in the plan's unit, feet here; a blank cell is no member."""
    file = write(
        tmp_path / "r.csv",
        "\N{ZERO WIDTH NO-BREAK SPACE}Check,value,by,at,from,note\r\n"
        "wall:A-B,66.01,crew 4,2026-05-04T08:15:00Z,,\r\n"
        'line:S2,"33\' 1/16""",crew 4,,B,"windy, gusts"\r\n'
        "\r\n"
        "strength:F1,3000 psi,,,,\r\n",
    )
    said = run("import_readings", building.pk, file, "--by=fern")
    assert "3 recorded, 0 already there, 0 refused" in said
    wall, line, strength = Reading.objects.order_by("pk")
    assert wall.entered == "66.01 ft"
    assert float(wall.value) == pytest.approx(66.01 * 304.8)
    assert wall.crew == "crew 4"
    assert wall.recorded_by.username == "fern"
    assert line.entry["note"] == "windy, gusts"
    assert line.entry["from"] == "B"
    assert "from" not in wall.entry
    assert strength.entered == "3000 psi"
    again = run("import_readings", building.pk, file, "--by=fern")
    assert "0 recorded, 3 already there" in again


def test_a_tables_faults_are_told_by_line_and_column(
    building: Building, tmp_path: Path
) -> None:
    file = write(
        tmp_path / "r.csv",
        "check;value;at\n"
        "wall:A-B;66 ft;2026-05-04T08:15:00Z\n"
        "\n"
        'setback:Z9.1;7";\n'
        "level:S1;1 m;yesterday\n",
    )
    error = refused("import_readings", building.pk, file, "--by=fern")
    assert error.returncode == 2
    assert f"{file} line 4, check: " in str(error)
    assert f"{file} line 5, at: " in str(error)
    assert not Reading.objects.exists()
    error = refused("import_readings", building.pk, file, "--by=fern", "--keep-good")
    assert error.returncode == 2
    assert [row.check_key for row in Reading.objects.all()] == ["wall:A-B"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("check,size\nwall:A-B,66 ft\n", "Unknown column “size”"),
        ("check,at\nwall:A-B,\n", "column “value” is missing"),
        ("check,value,value\n", "column “value” appears more than once"),
        ("check,value\nwall:A-B,66 ft,x\n", "line 2: This line has 3 cells"),
        ('check,value\nwall:A-B,"66 ft\n', "cannot be read at line"),
        ("", "This file is empty"),
    ],
)
def test_a_table_that_is_none_is_refused(
    building: Building, tmp_path: Path, content: str, says: str
) -> None:
    file = write(tmp_path / "r.csv", content)
    error = refused("import_readings", building.pk, file, "--by=fern")
    assert says in str(error)
    assert error.returncode == 2


def test_readings_come_in_from_a_list_and_from_a_document(
    building: Building, tmp_path: Path
) -> None:
    """A bare number is in the document's unit; the plan here is in feet."""
    listed = [{"id": "a", "check": "wall:A-B", "value": 66}]
    file = write(tmp_path / "list.json", listed)
    run("import_readings", building.pk, file, "--by=fern")
    document = shed(length_unit="in")
    document["readings"] = [{"id": "b", "check": "wall:C-D", "value": 792.5}]
    name = f"{building.job.number}/{building.name}"
    run("import_readings", name, write(tmp_path / "d.json", document), "--by=fern")
    values = dict(Reading.objects.values_list("client_id", "value"))
    assert float(values["a"]) == pytest.approx(66 * 304.8)
    assert float(values["b"]) == pytest.approx(792.5 * 25.4)


def test_a_lists_faults_are_told_by_pointer(building: Building, tmp_path: Path) -> None:
    good = {"check": "wall:A-B", "value": 66}
    file = write(tmp_path / "l.json", [good, {**good, "value": "4 9/8"}])
    error = refused("import_readings", building.pk, file, "--by=fern")
    assert f"{file} /1/value: " in str(error)
    file = write(tmp_path / "d.json", {**shed(), "readings": [{**good, "value": "x"}]})
    error = refused("import_readings", building.pk, file, "--by=fern")
    assert f"{file} /readings/0/value: " in str(error)


def test_strangers_record_nothing(
    building: Building, stranger: Person, tmp_path: Path
) -> None:
    file = write(tmp_path / "l.json", [{"check": "wall:A-B", "value": 66}])
    error = refused("import_readings", building.pk, file, "--by=sorrel")
    assert "Only the" in str(error)
    assert not Reading.objects.exists()
    assert "no building “0”" in str(
        refused("import_readings", "0", file, "--by=sorrel")
    )


# Reports and proofs


def test_reports_are_written_and_proved(shipped: Release, tmp_path: Path) -> None:
    file = tmp_path / "release.pdf"
    site = "--site=https://padstone.example.org"
    run("report", shipped.digest[:12], "-o", file, site)
    said = run("verify_release", file)
    assert "Ship release (verification) of Larch yard shed" in said
    assert "Olive (olive)" in said
    assert "The record inside the file has it too." in said
    assert "identical to what this program prints" in said
    assert shipped.digest in run("verify_release", shipped.digest)
    record = tmp_path / "record.json"
    record.write_bytes(canonical_json(shipped.record))
    assert shipped.digest in run("verify_release", record)


@pytest.mark.parametrize("kind", ["status", "sheet", "shims"])
def test_a_buildings_reports_are_written(
    building: Building, tmp_path: Path, kind: str
) -> None:
    file = tmp_path / "paper.pdf"
    said = run("report", building.pk, "-o", file, f"--kind={kind}")
    assert file.read_bytes().startswith(b"%PDF-")
    assert str(file) in said


def test_what_cannot_be_reported_is_said(building: Building, tmp_path: Path) -> None:
    error = refused("report", "999999", "-o", tmp_path / "x.pdf")
    assert "no building “999999”" in str(error)
    error = refused("report", building.pk, "-o", tmp_path / "no" / "x.pdf")
    assert "cannot be written" in str(error)


def test_what_is_not_proved_ends_with_one(shipped: Release, tmp_path: Path) -> None:
    record = copy.deepcopy(shipped.record)
    record["note"] = "Everything is fine."
    altered = write(tmp_path / "record.json", record)
    for what in (altered, "0" * 64):
        error = refused("verify_release", what)
        assert error.returncode == 1
        assert "Do not rely on this document" in str(error)
    assert "nor a file" in str(refused("verify_release", tmp_path / "none.pdf"))
    other = write(tmp_path / "a.pdf", "%PDF-1.7 of something else")
    assert "contains no digest" in str(refused("verify_release", other))
