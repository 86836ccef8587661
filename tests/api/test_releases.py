"""Releases over the wire: what is missing, signed once, verified by anybody."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from core.models import Person
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.models import Building
from jobs.plans.plan_cache import load_plan
from tests.api.conftest import As
from tests.api.samples import entry
from tests.factories import PASSWORD

pytestmark = pytest.mark.django_db
SIGNED = {"kind": "pour", "note": "Forms checked.", "password": PASSWORD}


def url(building: Building) -> str:
    return f"/api/v1/buildings/{building.pk}/releases"


@pytest.fixture
def laid_out(by_token: As, field_lead: Person, building: Building) -> Building:
    """Return the store with everything before the pour measured as planned."""
    checks = build_check_sheet(load_plan(building.current_revision()))
    as_planned = [
        entry(check.key, f"{check.nominal} mm")
        for check in checks
        if check.required and check.stage == "foundation"
    ]
    answer = by_token(field_lead).post(
        f"/api/v1/buildings/{building.pk}/readings", {"readings": as_planned}
    )
    assert answer.status_code == 201
    return building


def test_the_gates_tell_what_each_waits_for(
    by_token: As, field_lead: Person, building: Building
) -> None:
    gates = by_token(field_lead).get(url(building)).json()
    assert [gate["kind"] for gate in gates] == ["pour", "ship", "erect", "completion"]
    assert all(gate["missing"] and gate["release"] is None for gate in gates)


def test_a_release_is_refused_with_the_list_of_what_is_missing(
    by_token: As, operations: Person, building: Building
) -> None:
    answer = by_token(operations).post(url(building), SIGNED)
    assert answer.status_code == 409
    problem = answer.json()
    assert problem["type"].endswith("not-ready")
    assert problem["missing"][0]["what"]
    assert set(problem["missing"][0]) == {"what", "holds", "keys"}


def test_a_release_is_signed_once_and_freezes_the_record(
    by_token: As, operations: Person, laid_out: Building
) -> None:
    client = by_token(operations)
    signed = client.post(url(laid_out), SIGNED)
    assert signed.status_code == 201
    found = client.get(f"/api/v1/releases/{signed.json()['id']}").json()
    assert found["record"]["note"] == "Forms checked."
    assert found["digest"] == signed.json()["digest"]
    assert client.get(url(laid_out)).json()[0]["release"]["id"] == found["id"]
    again = client.post(url(laid_out), SIGNED)
    assert again.status_code == 409
    assert again.json()["type"].endswith("conflict")


def test_a_release_needs_the_signers_password(
    by_token: As, operations: Person, laid_out: Building
) -> None:
    unsigned = {**SIGNED, "password": "not it"}
    answer = by_token(operations).post(url(laid_out), unsigned)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == "/password"


def test_anybody_may_verify_a_digest_and_learns_no_more_than_the_paper_says(
    by_token: As, operations: Person, laid_out: Building, anonymous: APIClient
) -> None:
    digest = by_token(operations).post(url(laid_out), SIGNED).json()["digest"]
    answer = anonymous.get(f"/api/v1/verify/{digest.upper()}")
    assert answer.status_code == 200
    assert answer.json() == answer.json() | {
        "digest": digest,
        "kind": "Pour release (foundation)",
        "building": laid_out.name,
        "job": laid_out.job.number,
        "revision": 1,
        "signed_by": "Olive",
    }
    assert set(answer.json()) == {
        "digest",
        "kind",
        "building",
        "job",
        "revision",
        "signed_by",
        "signed_at",
    }


@pytest.mark.parametrize("asked", ["0" * 64, "abc", "%00", "é" * 64])
def test_another_digest_is_not_found(anonymous: APIClient, asked: Any) -> None:
    assert anonymous.get(f"/api/v1/verify/{asked}").status_code == 404


def test_verifying_asks_nobody_who_they_are(anonymous: APIClient) -> None:
    anonymous.credentials(HTTP_AUTHORIZATION="Token nonsense")
    assert anonymous.get(f"/api/v1/verify/{'0' * 64}").status_code == 404
