"""Readings and buildings brought and handed out as files."""

import io
from typing import Any

import ezdxf
import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from checks.models import Reading
from core.models import Person
from jobs.exchange.dxf.plan_export import DEVIATIONS, RODS_AS_BUILT
from jobs.exchange.input.parser import parse_building
from jobs.exchange.tables.readings_import import import_reading_sheets
from jobs.exchange.tables.table_files import (
    read_plan_table,
    read_sheets,
    write_plan_table,
)
from jobs.models import Building, Job
from jobs.plans.plan_cache import load_plan
from tests.checks.conftest import Measure, as_planned, entry
from tests.example_buildings import shed
from tests.jobs.exchange.test_dxf import as_bytes, other_drawing

pytestmark = pytest.mark.django_db


@pytest.fixture
def signed_in(client: Client, field_lead: Person) -> Client:
    client.force_login(field_lead, backend="django.contrib.auth.backends.ModelBackend")
    return client


def fetched(client: Client, name: str, building: Building, kind: str) -> bytes:
    response = client.get(reverse(f"checks:{name}", args=[building.pk, kind]))
    assert response.status_code == 200
    return bytes(response.content)


def brought(client: Client, building: Building, name: str, content: bytes) -> Any:
    return client.post(
        reverse("checks:upload_readings", args=[building.pk]),
        {"file": SimpleUploadedFile(name, content)},
    )


@pytest.mark.parametrize("kind", ["xlsx", "csv"])
def test_the_record_handed_out_comes_back_as_the_same_readings(
    signed_in: Client, building: Building, measure: Measure, kind: str
) -> None:
    """Also a number alone: as a table it is written with its unit."""
    first = entry("wall:A-B", 66.25, by="crew 4", at="2026-05-04T08:15:00Z")
    measure(
        first,
        entry("wall:A-B", "66' 1/16\"", supersedes=first["id"], note=" =windy\n"),
        entry("offset:S1.1", '-2 1/2"'),
        {"check": "level:S1", "value": 4.25, "setup": "2"},
    )
    content = fetched(signed_in, "download_readings", building, kind)
    answer = brought(signed_in, building, f"record.{kind}", content)
    assert answer.status_code == 302
    assert Reading.objects.count() == 4
    page = signed_in.get(answer["Location"]).content.decode()
    assert "4 recorded before" in page


def test_another_value_under_an_id_that_is_taken_is_refused_by_its_cell(
    signed_in: Client, building: Building, measure: Measure
) -> None:
    measure({"id": "a", "check": "wall:A-B", "value": 66.25})
    answer = brought(signed_in, building, "r.csv", b"check,value,id\nwall:A-B,66.5,a\n")
    assert answer.status_code == 400
    page = answer.content.decode()
    assert "line 2, id" in page
    assert "belongs to another reading" in page


def test_a_bare_number_of_an_earlier_plan_is_known_by_the_unit_it_had(
    signed_in: Client, building: Building, measure: Measure, operations: Person
) -> None:
    from jobs.services import revise_plan

    measure({"id": "a", "check": "wall:A-B", "value": 66.25})
    metric = shed(length_unit="m")
    for corner in metric["outline"]:
        corner |= {"x": f"{corner['x']} ft", "y": f"{corner['y']} ft"}
    revise_plan(actor=operations, building=building, document=metric, note="")
    content = fetched(signed_in, "download_readings", building, "csv")
    assert b"66.25 ft" in content
    assert brought(signed_in, building, "r.csv", content).status_code == 302
    assert Reading.objects.count() == 1


def test_the_sheet_to_fill_has_every_check_and_takes_what_is_written(
    signed_in: Client, building: Building
) -> None:
    book = openpyxl.load_workbook(
        io.BytesIO(fetched(signed_in, "download_blank_sheet", building, "xlsx"))
    )
    sheet: Any = book.active
    keys = {row[1].value: row for row in sheet.iter_rows(min_row=8)}
    assert {"wall:A-B", "line:S1", "setback:N3.4", "level:S2"} <= keys.keys()
    sheet["B1"], sheet["B2"] = "crew 4", "2026-05-04 08:15"
    keys["wall:A-B"][2].value = 66.01
    keys["level:S2"][2].value = "4' 1\""
    out = io.BytesIO()
    book.save(out)
    answer = brought(signed_in, building, "sheet.xlsx", out.getvalue())
    assert answer.status_code == 302
    wall, level = Reading.objects.order_by("pk")
    assert (wall.entered, wall.crew) == ("66.01 ft", "crew 4")
    assert (level.check_key, level.entered) == ("level:S2", "4' 1\"")
    page = signed_in.get(answer["Location"]).content.decode()
    assert "No value in rows" in page


def test_times_are_in_the_zone_that_was_named(
    signed_in: Client, building: Building
) -> None:
    content = b"check,value,at\nwall:A-B,66,2026-05-04 08:15\n"
    url = reverse("checks:upload_readings", args=[building.pk])
    given = {"file": SimpleUploadedFile("r.csv", content), "zone": "America/Chicago"}
    assert signed_in.post(url, given).status_code == 302
    assert f"{Reading.objects.get().taken_at:%H:%M}" == "13:15"
    given = {"file": SimpleUploadedFile("r.csv", content), "zone": "Mars/Olympus"}
    answer = signed_in.post(url, given)
    assert "Unknown time zone" in answer.content.decode()


@pytest.mark.parametrize("kind", ["xlsx", "csv"])
def test_a_building_handed_out_holds_its_plan_and_its_readings(
    signed_in: Client, building: Building, measure: Measure, kind: str
) -> None:
    measure(*as_planned(building, "foundation"))
    content = fetched(signed_in, "download_building", building, kind)
    found = read_plan_table(content, f".{kind}")
    assert found.parse_building().plan == load_plan(building.current_revision())
    assert "Readings are not part of a plan" in found.ignored[0].message
    readings = import_reading_sheets(read_sheets(content, f".{kind}"), unit="ft")
    assert len(readings.entries) == Reading.objects.count()


def test_the_drawing_of_a_building_shows_its_rods_as_built(
    signed_in: Client, building: Building, measure: Measure
) -> None:
    measure(*as_planned(building, "foundation", **{"offset:S1.1": '-2 1/4"'}))
    content = fetched(signed_in, "download_building", building, "dxf")
    drawing = ezdxf.read(io.StringIO(content.decode()))
    assert not drawing.audit().errors
    assert len(drawing.modelspace().query(f'CIRCLE[layer=="{RODS_AS_BUILT}"]')) == 24
    texts = [
        text.dxf.text
        for text in drawing.modelspace().query(f'TEXT[layer=="{DEVIATIONS}"]')
    ]
    assert 'S1.1: +1/4" along, +0" in, outside' in texts
    assert 'S1.2: +0" along, +0" in, within' in texts


@pytest.mark.parametrize(
    "name", ["download_readings", "download_blank_sheet", "download_building"]
)
def test_no_other_kind_of_file_is_handed_out(
    signed_in: Client, building: Building, name: str
) -> None:
    url = reverse(f"checks:{name}", args=[building.pk, "exe"])
    assert signed_in.get(url).status_code == 404


def test_the_record_takes_as_many_queries_however_long_it_is(
    signed_in: Client,
    building: Building,
    measure: Measure,
    django_assert_max_num_queries: Any,
) -> None:
    counts = []
    for number in (1, 9):
        measure(*(entry("wall:A-B", f"{66 + i / 10} ft") for i in range(number)))
        with django_assert_max_num_queries(20) as counted:
            fetched(signed_in, "download_readings", building, "csv")
        counts.append(len(counted))
    assert counts[0] == counts[1]


# Commands


def run(*arguments: Any) -> tuple[str, str]:
    out, err = io.StringIO(), io.StringIO()
    call_command(*map(str, arguments), stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


@pytest.mark.parametrize("suffix", [".xlsx", ".csv"])
def test_a_plan_comes_in_from_a_table(job: Job, tmp_path: Any, suffix: str) -> None:
    file = tmp_path / f"plan{suffix}"
    file.write_bytes(write_plan_table(shed(), suffix))
    said, progress = run("import_plan", job.number, file, "--by=olive")
    assert "plan revision 1" in said
    assert "6 positions; storing" in progress
    stored = job.buildings.get().current_revision()
    assert load_plan(stored) == parse_building(shed()).plan


def test_a_drawing_comes_in_as_told(job: Job, tmp_path: Any) -> None:
    file = tmp_path / "hay shed.dxf"
    file.write_bytes(as_bytes(other_drawing(units=0)))
    command = ("import_plan", job.number, file, "--by=olive")
    with pytest.raises(CommandError, match="does not name its unit") as error:
        run(*command)
    assert error.value.returncode == 2
    said, progress = run(*command, "--unit=in", "--rods=S-BOLTS")
    assert "hay shed: building" in said
    assert "A drawing shows no projections" in progress


def test_a_table_revises_a_part_of_a_plan(building: Building, tmp_path: Any) -> None:
    file = tmp_path / "positions.csv"
    file.write_text("Mark,Wall,Along,Detail\nS1,A-B,2.5,M\n")
    number = building.job.number
    command = ("import_plan", number, file, "--by=olive", "--revise")
    said, _ = run(*command, f"--building={building.name}")
    assert "plan revision 2" in said
    plan = load_plan(building.current_revision())
    assert [position.along for position in plan.positions] == [2.5 * 304.8]
    with pytest.raises(CommandError, match="has no building “None”"):
        run(*command)


def test_errors_of_a_workbook_are_told_by_sheet_and_cell(
    job: Job, tmp_path: Any
) -> None:
    document = shed()
    document["positions"][1]["detail"] = "Z"
    file = tmp_path / "plan.xlsx"
    file.write_bytes(write_plan_table(document, ".xlsx"))
    with pytest.raises(CommandError) as error:
        run("import_plan", job.number, file, "--by=olive")
    assert f"{file} Positions D3: There is no detail Z" in str(error.value)
    assert error.value.returncode == 2
    assert not Building.objects.exists()


def test_readings_come_in_from_a_workbook(building: Building, tmp_path: Any) -> None:
    book = openpyxl.Workbook()
    assert book.active is not None
    rows = (["check", "value", "at"], ["wall:A-B", 66.01, "2026-05-04 08:15"], ["x"])
    for row in rows:
        book.active.append(row)
    file = tmp_path / "r.xlsx"
    book.save(file)
    command = ("import_readings", building.pk, file, "--by=fern")
    said, progress = run(*command, "--zone=America/Chicago")
    assert "1 recorded" in said
    assert "No value in row 3." in progress
    assert f"{Reading.objects.get().taken_at:%H:%M}" == "13:15"
    with pytest.raises(CommandError, match="Unknown time zone"):
        run(*command, "--zone=Nowhere")
