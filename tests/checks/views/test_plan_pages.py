import json
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from checks.models import Evaluation, Finding
from core.models import Person
from jobs.exchange.input.parser import parse_building
from jobs.models import Building, Job
from jobs.plans.plan_cache import load_plan
from tests import factories
from tests.checks.drawings import samples

PAGES = ["building", "checks:levels", "checks:shims", "checks:building_document"]

# Two of them tell whether the page changed; a body that is kept saves six.
MAX_QUERIES = 18


def document(positions: int = 2) -> dict[str, Any]:
    """An invented shed whose south wall has this many positions."""
    corners = {"A": (0, 0), "B": (160, 0), "C": (160, 45), "D": (0, 45)}
    rods = [
        {"in": inward, "along": along, "diameter": '3/4"', "projection": '3 1/4"'}
        for inward in ('8"', '13"')
        for along in ('-2"', '2"')
    ]
    return {
        "format": "padstone.building/1",
        "name": f"Shed of {positions}",
        "length_unit": "ft",
        "outline": [{"corner": c, "x": x, "y": y} for c, (x, y) in corners.items()],
        "shim_thicknesses": ['1/16"', '1/8"', '1/4"'],
        "details": {
            "P": {
                "reference": "centreline",
                "plate": {"hole_diameter": '15/16"', "edge_distance": '1 1/2"'},
                "rods": rods,
            }
        },
        "positions": [
            {"mark": f"S{n}", "wall": "A-B", "along": 5 * n, "detail": "P"}
            for n in range(1, positions + 1)
        ],
    }


def evaluated(building: Building, **options: Any) -> Evaluation:
    """Store a result of known verdicts as the building's latest."""
    revision = building.current_revision()
    result = samples.result(load_plan(revision), **options)
    return Evaluation.objects.create(
        building=building,
        revision=revision,
        made_with="test",
        input_digest="0" * 64,
        result=result,
    )


@pytest.fixture
def shed(job: Job, operations: Person) -> Building:
    return factories.building(job, operations, document())


@pytest.fixture
def signed_in(client: Client, field_lead: Person) -> Client:
    client.force_login(field_lead)
    return client


@pytest.mark.parametrize("name", PAGES)
def test_a_stranger_to_the_job_finds_nothing(
    client: Client, stranger: Person, shed: Building, name: str
) -> None:
    client.force_login(stranger)
    assert client.get(reverse(name, args=[shed.pk])).status_code == 404


@pytest.mark.parametrize("name", ["checks:position", "checks:building_result"])
def test_a_stranger_finds_no_position_and_no_result(
    client: Client, stranger: Person, shed: Building, name: str
) -> None:
    evaluated(shed)
    client.force_login(stranger)
    extra = ["S1"] if name == "checks:position" else []
    assert client.get(reverse(name, args=[shed.pk, *extra])).status_code == 404


def test_an_unmeasured_building_shows_its_plan_and_what_to_measure_first(
    signed_in: Client, shed: Building
) -> None:
    page = signed_in.get(reverse("building", args=[shed.pk]))
    assert page.context["first_checks"][0] == "Diagonal A to C"
    assert "Diagonal A to C" in page.content.decode()
    assert '<svg class="plan"' in page.content.decode()


def test_the_plan_as_built_links_every_position(
    signed_in: Client, shed: Building
) -> None:
    evaluated(shed, misses={"S1": (9, 0)})
    content = signed_in.get(reverse("building", args=[shed.pk])).content.decode()
    for mark in ("S1", "S2"):
        assert f'href="/buildings/{shed.pk}/positions/{mark}/"' in content
    assert 'aria-label="S1: outside' in content


@pytest.mark.parametrize(
    ("asked", "drawn"), [("40", 40.0), ("1e9", None), ("-3", None), ("nan", None)]
)
def test_only_a_sensible_factor_is_taken_from_the_address(
    signed_in: Client, shed: Building, asked: str, drawn: float | None
) -> None:
    evaluated(shed)
    address = reverse("building", args=[shed.pk])
    usual = signed_in.get(address).context["factor"]
    factor = signed_in.get(address, {"exaggerate": asked}).context["factor"]
    assert factor == (drawn or usual)


def test_a_result_of_an_earlier_plan_is_not_drawn_on_a_later_one(
    signed_in: Client, shed: Building, operations: Person
) -> None:
    from jobs.services import revise_plan

    evaluated(shed)
    revise_plan(actor=operations, building=shed, document=document(3), note="")
    page = signed_in.get(reverse("building", args=[shed.pk]))
    assert page.context["drawn"].result is None


def test_a_position_shows_its_rods_and_the_remedies_of_its_findings(
    signed_in: Client, shed: Building
) -> None:
    evaluation = evaluated(shed, misses={"S1": (9, 0)})
    Finding.objects.create(
        building=shed,
        topic="position:S1",
        evaluation=evaluation,
        approval="engineer",
        opened_at=evaluation.made_at,
        remedies=[
            {
                "remedy": "ream",
                "approval": "engineer",
                "reason": "All holes opened a little.",
                "cautions": ["Mind the washer."],
            }
        ],
    )
    content = signed_in.get(
        reverse("checks:position", args=[shed.pk, "S1"])
    ).content.decode()
    assert "All holes opened a little." in content
    assert "Mind the washer." in content
    other = signed_in.get(reverse("checks:position", args=[shed.pk, "S2"]))
    assert "All holes opened a little." not in other.content.decode()


def test_a_position_says_what_its_gages_leave_open(
    signed_in: Client, shed: Building
) -> None:
    evaluation = evaluated(shed)
    note = "The gages of rod 2 allow two places."
    row = next(p for p in evaluation.result["positions"] if p["mark"] == "S1")
    address = reverse("checks:position", args=[shed.pk, "S1"])
    assert note not in signed_in.get(address).content.decode()
    changed = evaluation.result | {"positions": [row | {"note": note}]}
    Evaluation.objects.create(
        building=shed,
        revision=evaluation.revision,
        made_with="test",
        input_digest="1" * 64,
        result=changed,
    )
    assert note in signed_in.get(address).content.decode()


def test_a_position_that_is_not_on_the_plan_is_not_found(
    signed_in: Client, shed: Building
) -> None:
    address = reverse("checks:position", args=[shed.pk, "Z9"])
    assert signed_in.get(address).status_code == 404


@pytest.mark.parametrize("name", ["checks:levels", "checks:shims"])
def test_the_datum_of_the_pads_and_a_level_that_is_not_good_enough_are_explained(
    signed_in: Client, shed: Building, name: str
) -> None:
    evaluation = evaluated(shed)
    datum = {
        "datum_uncertainty": 0.4,
        "alike": 1,
        "read": 2,
        "tells_apart": 4.2,
        "better_level_needed": True,
    }
    Evaluation.objects.create(
        building=shed,
        revision=evaluation.revision,
        made_with="test",
        input_digest="1" * 64,
        result=evaluation.result | {"levels": evaluation.result["levels"] | datum},
    )
    content = signed_in.get(reverse(name, args=[shed.pk])).content.decode()
    assert "as far as the level can tell it" in content
    assert "1 of 2 pads cannot be told from level" in content
    assert "The level is not good enough for these pads." in content


def test_shims_are_listed_by_position_and_the_rest_is_named(
    signed_in: Client, job: Job, operations: Person
) -> None:
    building = factories.building(job, operations, document(4))
    heights = {"S1": 0.0, "S2": -5.0, "S3": -16.0, "S4": None}
    evaluated(building, heights=heights)
    page = signed_in.get(reverse("checks:shims", args=[building.pk]))
    assert [pad.mark for pad in page.context["shimmed"]] == ["S2"]
    assert [pad.mark for pad in page.context["referred"]] == ["S3"]
    assert [pad.mark for pad in page.context["unmeasured"]] == ["S4"]
    assert "incomplete without them" in page.content.decode()


def test_the_exported_document_can_be_read_back(
    signed_in: Client, shed: Building
) -> None:
    answer = signed_in.get(reverse("checks:building_document", args=[shed.pk]))
    assert 'filename="shed-of-2.building.json"' in answer["Content-Disposition"]
    assert parse_building(json.loads(answer.content)).plan.name == "Shed of 2"


def test_the_exported_result_is_the_latest(signed_in: Client, shed: Building) -> None:
    address = reverse("checks:building_result", args=[shed.pk])
    assert signed_in.get(address).status_code == 404
    evaluated(shed)
    latest = evaluated(shed, misses={"S1": (9, 0)})
    assert signed_in.get(address).json() == latest.result


def test_lengths_are_in_the_plans_unit_until_the_reader_chooses(
    signed_in: Client, job: Job, operations: Person
) -> None:
    metric = document() | {"length_unit": "m", "name": "Metric"}
    metric["positions"] = [{"mark": "S1", "wall": "A-B", "along": 5, "detail": "P"}]
    building = factories.building(job, operations, metric)
    evaluated(building)
    address = reverse("building", args=[building.pk])
    assert signed_in.get(address).context["units"] == "metric"
    signed_in.post(reverse("preferences"), {"units": "imperial"})
    assert signed_in.get(address).context["units"] == "imperial"


@pytest.mark.parametrize(
    "name", ["building", "checks:position", "checks:levels", "checks:shims"]
)
def test_queries_do_not_grow_with_the_building(
    signed_in: Client, job: Job, operations: Person, name: str
) -> None:
    counts = []
    for positions in (2, 30):
        building = factories.building(job, operations, document(positions))
        evaluation = evaluated(building, misses={"S1": (9, 0), "S2": (9, 0)})
        for mark in range(1, positions + 1):
            Finding.objects.create(
                building=building,
                topic=f"position:S{mark}",
                evaluation=evaluation,
                approval="engineer",
                opened_at=evaluation.made_at,
            )
        extra = ["S1"] if name == "checks:position" else []
        address = reverse(name, args=[building.pk, *extra])
        signed_in.get(address)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert signed_in.get(address).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1] <= MAX_QUERIES


def test_the_building_page_shows_what_is_wrong_with_the_plan(
    job: Job, operations: Person, client: Client
) -> None:
    plan = document()
    plan["details"]["P"]["plate"]["edge_distance"] = '1/2"'
    drawn = factories.building(job, operations, plan)
    client.force_login(operations)
    page = client.get(reverse("building", args=[drawn.pk])).content.decode()
    assert "Check the plan" in page
    assert "Table J3.4" in page
