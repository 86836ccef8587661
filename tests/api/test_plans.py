"""Plans over the wire: in force, revised, and not fetched twice for nothing."""

import pytest

from core.models import Person
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building
from tests.api.conftest import As
from tests.api.samples import entry, store

pytestmark = pytest.mark.django_db


def url(building: Building, what: str = "plan") -> str:
    return f"/api/v1/buildings/{building.pk}/{what}"


def test_the_plan_comes_under_its_digest(
    by_token: As, field_lead: Person, building: Building
) -> None:
    answer = by_token(field_lead).get(url(building))
    assert answer["ETag"] == f'"{sha256_of(answer.json())}"'
    assert "private" in answer["Cache-Control"]
    assert "Authorization" in answer["Vary"]


def test_a_plan_at_hand_is_not_sent_again(
    by_token: As, field_lead: Person, building: Building
) -> None:
    client = by_token(field_lead)
    tag = client.get(url(building))["ETag"]
    again = client.get(url(building), headers={"If-None-Match": tag})
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", tag)
    other = client.get(url(building), headers={"If-None-Match": '"other"'})
    assert other.status_code == 200


def test_a_revision_is_in_force_and_says_what_it_changed(
    by_token: As, operations: Person, building: Building
) -> None:
    client = by_token(operations)
    document = store(readings=[entry("level:R1", "1 m")])
    document["positions"][0]["along"] = "25'"
    answer = client.post(url(building) + "?note=Frame+moved", document)
    assert answer.status_code == 201
    assert answer.json()["revision"]["number"] == 2
    assert answer.json()["readings_passed_over"] == 1
    assert answer["ETag"] == client.get(url(building))["ETag"]
    issues = client.get(url(building, "plan/revisions")).json()
    assert [row["revision"]["number"] for row in issues] == [2, 1]
    assert issues[0]["revision"]["note"] == "Frame moved"
    assert issues[0]["changes"][0]["name"] == "R1"
    first = client.get(url(building, "plan/revisions/1")).json()
    assert first["positions"][0]["along"] == "24'"


def test_the_same_revision_sent_twice_is_one(
    by_token: As, operations: Person, building: Building
) -> None:
    client = by_token(operations)
    document = store(shim_thicknesses=['1/4"'])
    assert client.post(url(building), document).status_code == 201
    again = client.post(url(building), document)
    assert again.status_code == 200
    assert again.json()["revision"]["number"] == 2
    assert building.revisions.count() == 2


def test_a_plan_that_changed_meanwhile_is_not_overwritten(
    by_token: As, operations: Person, building: Building
) -> None:
    client = by_token(operations)
    tag = client.get(url(building))["ETag"]
    first = store(shim_thicknesses=['1/4"'])
    given = {"If-Match": tag}
    assert client.post(url(building), first, headers=given).status_code == 201
    second = store(shim_thicknesses=['1/8"'])
    answer = client.post(url(building), second, headers=given)
    assert answer.status_code == 412
    assert answer.json()["type"].endswith("changed-meanwhile")
    assert building.revisions.count() == 2


def test_a_revision_that_does_not_fit_is_refused_by_place(
    by_token: As, operations: Person, building: Building
) -> None:
    document = store()
    document["positions"][1]["detail"] = "Q"
    answer = by_token(operations).post(url(building), document)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/positions/1/detail"


def test_findings_follow_a_revision_at_once(
    by_token: As, operations: Person, building: Building
) -> None:
    client = by_token(operations)
    low = [entry("level:R1", "1 m"), entry("level:R2", "1006 mm")]
    client.post(url(building, "readings"), {"readings": low})
    document = store(tolerances={"overrides": {"pad_level": '1/2"'}})
    answer = client.post(url(building), document)
    assert answer.json()["evaluation"]["open_findings"] == 0
