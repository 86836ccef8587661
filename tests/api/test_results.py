"""Results through the API."""

import json

import pytest
from rest_framework.test import APIClient

from checks.services.result_supplements import supplement_latest_evaluations
from core.models import Person
from jobs.exchange.input.parser import parse_building
from jobs.models import Building
from tests.api.conftest import As
from tests.api.samples import entry
from tests.checks.conftest import as_planned

pytestmark = pytest.mark.django_db


def url(building: Building, what: str) -> str:
    return f"/api/v1/buildings/{building.pk}/{what}"


@pytest.fixture
def crew(by_token: As, field_lead: Person, building: Building) -> APIClient:
    """Return the phone that found a pad 6 mm too low."""
    client = by_token(field_lead)
    low = [entry("level:R1", "1 m"), entry("level:R2", "1006 mm")]
    client.post(url(building, "readings"), {"readings": low})
    return client


def test_nothing_evaluated_is_not_found_and_says_so(
    by_token: As, field_lead: Person, building: Building
) -> None:
    for what in ("result", "shims"):
        answer = by_token(field_lead).get(url(building, what))
        assert answer.status_code == 404
        assert "no result" in answer.json()["detail"]


def test_the_result_changes_its_tag_with_the_readings(
    crew: APIClient, building: Building
) -> None:
    first = crew.get(url(building, "result"))
    assert first.json()["format"] == "padstone.result/1"
    given = {"If-None-Match": first["ETag"]}
    assert crew.get(url(building, "result"), headers=given).status_code == 304
    more = [entry("level:R2", "1007 mm")]
    crew.post(url(building, "readings"), {"readings": more})
    assert crew.get(url(building, "result"), headers=given).status_code == 200


def test_the_result_gets_its_probability_and_another_tag(
    crew: APIClient, building: Building
) -> None:
    readings = as_planned(building, "foundation")
    assert crew.post(url(building, "readings"), {"readings": readings}).data
    first = crew.get(url(building, "result"))
    assert first.json()["fit_up"]["probability"] is None
    supplement_latest_evaluations()
    given = {"If-None-Match": first["ETag"]}
    second = crew.get(url(building, "result"), headers=given)
    assert second.status_code == 200
    assert second.json()["fit_up"]["probability"] > 0.9
    assert second.json()["fit_up"]["conclusion"] == "goes_together"


def test_the_document_carries_plan_and_readings(
    crew: APIClient, building: Building
) -> None:
    answer = crew.get(url(building, "document"))
    read = parse_building(answer.json())
    assert [reading.check for reading in read.readings] == ["level:R1", "level:R2"]
    given = {"If-None-Match": answer["ETag"]}
    assert crew.get(url(building, "document"), headers=given).status_code == 304


def test_evaluating_the_export_of_a_building_gives_its_result(
    crew: APIClient, by_token: As, operations: Person, building: Building
) -> None:
    """Also of what is superseded, has no id, or was typed in an old plan's unit."""
    wrong = entry("wall:A-B", 75)
    nameless = {"check": "line:R1", "value": 24 + 1 / 192}
    sent = [wrong, entry("wall:A-B", 72.015, supersedes=wrong["id"]), nameless]
    assert crew.post(url(building, "readings"), {"readings": sent}).status_code == 201
    plan = crew.get(url(building, "plan")).json()
    assert plan["length_unit"] == "ft"
    plan = json.loads(json.dumps(plan)) | {"length_unit": "m"}
    plan["positions"] = plan["positions"][:1]  # the pad of R2 is read no more
    answer = by_token(operations).post(url(building, "plan"), plan)
    assert answer.status_code == 201, answer.json()
    document = crew.get(url(building, "document")).json()
    assert [each["check"] for each in document["readings"]] == [
        "level:R1", "wall:A-B", "line:R1", "wall:A-B",
    ]  # fmt: skip
    evaluated = crew.post("/api/v1/evaluate", document)
    assert evaluated.json() == crew.get(url(building, "result")).json()


def test_shims_come_by_pad_with_the_pack_list_and_the_caution(
    crew: APIClient, building: Building
) -> None:
    told = crew.get(url(building, "shims")).json()
    low = next(pad for pad in told["pads"] if pad["mark"] == "R2")
    # Nearest to 6 mm with 1/16, 1/8 and 1/4 in: 6.35 mm.
    assert (low["shim"], low["stack"]) == (6.35, ['1/4"'])
    assert low["residual"] == pytest.approx(0.35, abs=0.05)
    assert told["pack_list"] == [{"thickness": '1/4"', "count": 1}]
    assert "Nobody under a plate" in told["cautions"][0]
