"""Concrete entries through the API."""

from typing import Any

import pytest
from jsonschema import Draft202012Validator
from rest_framework.test import APIClient

from checks.models import ConcreteEntry
from core.models import Person
from jobs.exchange.published_schemas import concrete_entry_schema
from jobs.models import Building, Job
from tests import factories
from tests.api.conftest import As
from tests.api.samples import store
from tests.checks.services.test_concrete import (
    EXPECTED,
    MIXTURE,
    build_entry,
    complete_entry,
    cured,
    warm,
)
from tests.jobs.exchange.test_concrete import AGE

pytestmark = pytest.mark.django_db
STRENGTH = {"specified_strength": "3500 psi", "placed_on": "2026-04-07"}


@pytest.fixture
def crew(by_token: As, field_lead: Person) -> APIClient:
    """Return the field lead's phone."""
    return by_token(field_lead)


@pytest.fixture
def cast(job: Job, operations: Person) -> Building:
    """Return a store whose plan says what strength is asked."""
    return factories.building(job, operations, store(name="Cast", concrete=STRENGTH))


def url(building: Building, what: str = "concrete") -> str:
    return f"/api/v1/buildings/{building.pk}/{what}"


def send(client: APIClient, building: Building, *entries: Any) -> Any:
    return client.post(url(building), {"entries": list(entries)})


def test_entries_are_stored_once_and_used_at_once(
    crew: APIClient, cast: Building
) -> None:
    sent = [
        complete_entry(MIXTURE),
        complete_entry(EXPECTED),
        warm(8, 6, "57.5 degF", hours=20),
    ]
    answer = send(crew, cast, *sent, cured(30, "3600 psi"))
    assert answer.status_code == 201
    told = answer.json()
    assert [row["kind"] for row in told["stored"]] == [
        "mixture",
        "expected",
        "temperature",
        "standard_cured",
    ]
    assert told["stored"][2] == told["stored"][2] | {
        "id": sent[2]["id"],
        "entry": sent[2],
        "at": "2026-04-08T06:00:00Z",
        "on": None,
        "supersedes": None,
        "replaced_by": None,
        "recorded_by": {"username": "fern", "name": "Fern"},
    }
    assert told["evaluation"]["due"] is False
    result = crew.get(url(cast, "result")).json()
    assert result["concrete"]["forecast"]["elapsed_hours"] == 20
    assert result["concrete"]["acceptance"]["accepted"] is True
    again = send(crew, cast, *sent)
    assert again.status_code == 200
    assert again.json()["repeated"] == [entry["id"] for entry in sent]
    assert ConcreteEntry.objects.count() == 4


def test_the_document_has_what_was_sent(crew: APIClient, cast: Building) -> None:
    send(crew, cast, cured(30, "3600 psi"), cured(21, "25 MPa"))
    document = crew.get(url(cast, "document")).json()
    assert document["concrete"] == {
        **STRENGTH,
        "standard_cured": ["25 MPa", "3600 psi"],
    }
    result = crew.get(url(cast, "result")).json()
    assert (
        crew.post("/api/v1/evaluate", document).json()["concrete"]
        == (result["concrete"])
    )


def test_a_refusal_names_its_place(crew: APIClient, cast: Building) -> None:
    answer = send(crew, cast, cured(30, "3600 psi"), cured(30, "3600"), {"kind": "x"})
    assert answer.status_code == 422
    assert answer["Content-Type"] == "application/problem+json"
    places = {each["pointer"] for each in answer.json()["errors"]}
    assert {"/entries/1/strength", "/entries/2/kind"} <= places
    assert crew.post(url(cast), {"entries": "14 degC"}).status_code == 400
    assert crew.post(url(cast), {"entry": []}).status_code == 400
    assert not ConcreteEntry.objects.exists()


def test_the_list_is_narrowed_as_asked(crew: APIClient, cast: Building) -> None:
    first = cured(30, "3600 psi")
    send(crew, cast, first, build_entry("placing", placed_on="2026-04-07"))
    send(crew, cast, cured(30, "3660 psi", supersedes=first["id"]))

    def ids(**asked: Any) -> int:
        answer = crew.get(url(cast), asked)
        assert answer.status_code == 200
        return len(answer.json()["results"])

    assert (ids(), ids(standing=True), ids(kind="placing")) == (3, 2, 1)
    assert ids(since="2999-01-01T00:00:00Z") == 0
    assert crew.get(url(cast), {"kind": "slump"}).status_code == 400
    rows = crew.get(url(cast)).json()["results"]
    assert rows[0]["replaced_by"] == rows[2]["id"]


def test_many_are_listed_in_as_many_queries_as_few(
    crew: APIClient, cast: Building, django_assert_max_num_queries: Any
) -> None:
    send(crew, cast, cured(28, "3600 psi"))
    with django_assert_max_num_queries(100) as few:
        crew.get(url(cast))
    queries = len(few)
    send(crew, cast, *(cured(29, "3600 psi") for _ in range(60)))
    with django_assert_max_num_queries(queries):
        assert len(crew.get(url(cast)).json()["results"]) == 61


@pytest.mark.parametrize(
    "entry",
    [
        warm(8, 6, "57.5 degF", hours=20, by="crew 2", note="In the north pad."),
        cured(30, "3600 psi"),
        build_entry("placing", placed_on="2026-04-07"),
        complete_entry(MIXTURE),
        complete_entry(
            {name: AGE[name] for name in ("activation", "reference", "curve")},
            kind="mixture",
            on="2026-03-20",
        ),
        complete_entry(EXPECTED),
    ],
    ids=lambda entry: entry["kind"],
)
def test_what_is_taken_fits_the_schema(
    entry: Any, crew: APIClient, cast: Building
) -> None:
    Draft202012Validator(concrete_entry_schema()).validate(entry)
    assert send(crew, cast, entry).status_code == 201
    faults = Draft202012Validator(concrete_entry_schema()).iter_errors(
        {**entry, "slump": 4}
    )
    assert list(faults)
