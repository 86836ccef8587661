"""Plans brought and handed out as files, on the pages."""

import io
from typing import Any

import ezdxf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from core.models import Person
from jobs.exchange.dxf.plan_export import write_plan_drawing
from jobs.exchange.input.parser import parse_building
from jobs.exchange.tables.example_building import build_example_document
from jobs.exchange.tables.table_files import read_plan_table, write_plan_table
from jobs.models import Building, Job
from jobs.plans.plan_cache import load_plan
from tests import example_buildings
from tests.jobs.exchange.test_dxf import as_bytes, other_drawing

pytestmark = pytest.mark.django_db


@pytest.fixture
def bring(client: Client, operations: Person, job: Job) -> Any:
    client.force_login(operations)

    def bring(called: str, content: bytes, url: str = "", **more: str) -> Any:
        address = url or reverse("jobs:import_building", args=[job.pk])
        file = SimpleUploadedFile(called, content)
        return client.post(address, {"file": file, "note": "", **more})

    return bring


def seen_in(response: Any) -> str:
    """Return what the page was shown with, as its form sends it back."""
    return str(response.context["form"].preview_hash)


@pytest.mark.parametrize("suffix", [".xlsx", ".csv"])
def test_a_file_is_shown_and_then_stored(bring: Any, job: Job, suffix: str) -> None:
    content = write_plan_table(build_example_document(), suffix)
    response = bring(f"plan{suffix}", content)
    page = response.content.decode()
    assert response.status_code == 200
    assert "<svg" in page
    assert "5 positions" in page
    assert not Building.objects.exists()
    response = bring(f"plan{suffix}", content, store="yes", confirmed=seen_in(response))
    building = job.buildings.get()
    assert response.headers["Location"] == reverse("jobs:plan", args=[building.pk])
    revision = building.current_revision()
    assert load_plan(revision) == parse_building(build_example_document()).plan
    assert revision.note == f"From plan{suffix}"


def test_what_was_not_shown_is_not_stored(bring: Any) -> None:
    seen = seen_in(
        bring("plan.csv", write_plan_table(build_example_document(), ".csv"))
    )
    other = write_plan_table(
        {**build_example_document(), "name": "Another shed"}, ".csv"
    )
    response = bring("plan.csv", other, store="yes", confirmed=seen)
    assert response.status_code == 200
    assert "Another shed" in response.content.decode()
    assert not Building.objects.exists()


def test_the_document_a_file_amounts_to_can_be_stored_by_itself(
    bring: Any, client: Client, job: Job
) -> None:
    """Without scripts the file is not sent again, but the document is."""
    response = bring("plan.csv", write_plan_table(build_example_document(), ".csv"))
    text = response.context["form"].text
    client.post(
        reverse("jobs:import_building", args=[job.pk]),
        {"document": text, "note": "", "store": "yes"},
    )
    stored = load_plan(job.buildings.get().current_revision())
    assert stored == parse_building(build_example_document()).plan


def test_errors_are_listed_by_their_cells_and_nothing_is_stored(bring: Any) -> None:
    document = build_example_document()
    document["positions"][1]["along"] = "19' 13\""
    response = bring("plan.xlsx", write_plan_table(document, ".xlsx"), store="yes")
    page = response.content.decode()
    assert response.status_code == 400
    assert "Positions C3" in page
    assert not Building.objects.exists()


def test_in_place_errors_are_answered_so_that_they_are_shown(
    client: Client, operations: Person, job: Job
) -> None:
    client.force_login(operations)
    response = client.post(
        reverse("jobs:import_building", args=[job.pk]),
        {"file": SimpleUploadedFile("plan.xlsx", b"PK"), "note": ""},
        headers={"HX-Request": "true"},
    )
    assert response.status_code == 200
    assert "no XLSX workbook" in response.content.decode()


@pytest.mark.parametrize("name", ["plan.xlsx", "plan.dxf", "plan.csv", "plan.json"])
@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00", b"PK\x03\x04", b"{}"])
def test_files_that_are_none_are_refused_in_words(
    bring: Any, name: str, content: bytes
) -> None:
    response = bring(name, content, store="yes")
    assert response.status_code == 400
    assert not Building.objects.exists()


def test_a_drawing_is_read_as_chosen_and_shown_before_it_is_stored(
    bring: Any, job: Job
) -> None:
    content = as_bytes(other_drawing(units=0))
    response = bring("hay_shed.dxf", content)
    page = response.content.decode()
    assert response.status_code == 400
    assert "does not name its unit" in page
    assert "S-BOLTS" in page
    chosen = {"unit": "in", "rods": "S-BOLTS", "name": "Hay shed", "near": "610"}
    response = bring("hay_shed.dxf", content, **chosen)
    page = response.content.decode()
    assert response.status_code == 200
    assert "<svg" in page
    assert "A drawing shows no projections" in page
    bring("hay_shed.dxf", content, store="yes", confirmed=seen_in(response), **chosen)
    assert job.buildings.get().name == "Hay shed"


def test_a_sheet_alone_revises_its_part_of_the_plan(bring: Any, job: Job) -> None:
    made = bring("plan.csv", write_plan_table(build_example_document(), ".csv"))
    bring(
        "p.csv",
        write_plan_table(build_example_document(), ".csv"),
        store="yes",
        confirmed=seen_in(made),
    )
    building = job.buildings.get()
    url = reverse("jobs:revise", args=[building.pk])
    content = b"Mark,Wall,Along,Detail\nA2,SW-SE,21,M\n"
    response = bring("positions.csv", content, url)
    assert "A2" in response.content.decode()
    bring("positions.csv", content, url, store="yes", confirmed=seen_in(response))
    plan = load_plan(building.current_revision())
    assert [each.along for each in plan.positions] == [21 * 304.8]
    assert plan.details == parse_building(build_example_document()).plan.details


# Handed out


def test_the_template_reads_back(client: Client, operations: Person) -> None:
    client.force_login(operations)
    for kind in ("xlsx", "csv"):
        response = client.get(reverse("jobs:plan_template", args=[kind]))
        found = read_plan_table(response.content, f".{kind}")
        assert (
            found.parse_building().plan == parse_building(build_example_document()).plan
        )
    assert client.get(reverse("jobs:plan_template", args=["exe"])).status_code == 404


def test_every_issue_of_a_plan_is_handed_out_as_a_file(
    client: Client, operations: Person, building: Building
) -> None:
    client.force_login(operations)
    plan = load_plan(building.current_revision())
    for kind in ("xlsx", "csv"):
        response = client.get(reverse("jobs:plan_file", args=[building.pk, 1, kind]))
        assert f'larch-yard-shed-plan-1.{kind}"' in response["Content-Disposition"]
        assert (
            read_plan_table(response.content, f".{kind}").parse_building().plan == plan
        )
    response = client.get(reverse("jobs:plan_file", args=[building.pk, 1, "dxf"]))
    drawing = ezdxf.read(io.StringIO(response.content.decode()))
    assert len(drawing.modelspace().query("INSERT")) == len(plan.positions)
    for number, kind in ((1, "doc"), (2, "xlsx")):
        url = reverse("jobs:plan_file", args=[building.pk, number, kind])
        assert client.get(url).status_code == 404


def test_a_drawing_of_the_plan_in_force_changes_nothing(
    bring: Any, client: Client, building: Building
) -> None:
    content = write_plan_drawing(load_plan(building.current_revision()))
    response = bring("shed.dxf", content, reverse("jobs:revise", args=[building.pk]))
    assert "No changes to the plan" in response.content.decode()
    assert parse_building(example_buildings.shed()).plan.details
