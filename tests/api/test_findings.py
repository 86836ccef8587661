"""Findings over the wire: read, decided, carried out, measured again."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils.timezone import now

from checks.models import Finding
from checks.services.readings import record_readings
from core.models import Person
from jobs.models import Building
from tests.api.conftest import As
from tests.api.samples import entry
from tests.factories import PASSWORD

pytestmark = pytest.mark.django_db


@pytest.fixture
def finding(building: Building, field_lead: Person) -> Finding:
    """Return the finding of a pad 6 mm too low."""
    low = [entry("level:R1", "1000 mm"), entry("level:R2", "1006 mm")]
    record_readings(actor=field_lead, building=building, entries=low)
    return Finding.objects.get(topic="level:R2")


def url(finding: Finding, what: str = "") -> str:
    return f"/api/v1/findings/{finding.pk}{what}"


def order(**members: Any) -> dict[str, Any]:
    return {
        "choice": 0,
        "disposition": "rework",
        "note": "Shim.",
        "password": PASSWORD,
        **members,
    }


def test_a_finding_comes_with_its_remedies_and_history(
    by_token: As, field_lead: Person, finding: Finding
) -> None:
    told = by_token(field_lead).get(url(finding)).json()
    assert told["finding"] == "level:R2"
    assert told["remedies"][0]["remedy"] == "shim"
    assert [event["kind"] for event in told["events"]] == ["opened"]
    assert told["seen"] == told["events"][-1]["id"]


def test_findings_are_found_by_where_they_are_and_what_they_wait_for(
    by_token: As, field_lead: Person, engineer: Person, finding: Finding
) -> None:
    client = by_token(field_lead)

    def found(**asked: Any) -> list[int]:
        answer = client.get("/api/v1/findings", asked)
        assert answer.status_code == 200
        return [row["id"] for row in answer.json()["results"]]

    job = finding.building.job_id
    assert found(job=job) == found(building=finding.building_id) == [finding.pk]
    assert found(undecided="true") == found(state="open") == [finding.pk]
    assert found(job=job + 1) == found(state="closed") == []
    by_token(engineer).post(url(finding, "/decisions"), order())
    assert found(undecided="true") == []
    assert client.get("/api/v1/findings", {"state": "lost"}).status_code == 400


def test_the_list_of_findings_costs_the_same_however_long(
    by_token: As, field_lead: Person, finding: Finding
) -> None:
    client = by_token(field_lead)
    with CaptureQueriesContext(connection) as few:
        assert len(client.get("/api/v1/findings").json()["results"]) == 1
    far = [
        entry(f"setback:R{position}.{rod}", '8"')
        for position in (1, 2)
        for rod in (1, 2, 3, 4)
    ]
    record_readings(actor=field_lead, building=finding.building, entries=far)
    with CaptureQueriesContext(connection) as many:
        assert len(client.get("/api/v1/findings").json()["results"]) > 1
    assert len(many) == len(few)


def test_from_decision_to_closed(
    by_token: As, field_lead: Person, engineer: Person, finding: Finding
) -> None:
    crew = by_token(field_lead)
    made = by_token(engineer).post(url(finding, "/decisions"), order())
    assert made.status_code == 201
    assert made.json()["remedy"]["remedy"] == "shim"
    assert made.json()["engineer"]["username"] == "emery"
    done = crew.post(
        f"/api/v1/decisions/{made.json()['id']}/carried-out",
        {"at": now().isoformat(), "note": "Done."},
    )
    assert done.status_code == 201
    again = entry("level:R2", "1000 mm", supersedes=_standing(finding))
    sent = crew.post(
        f"/api/v1/buildings/{finding.building_id}/readings", {"readings": [again]}
    )
    assert sent.json()["evaluation"]["open_findings"] == 0
    told = crew.get(url(finding)).json()
    assert (told["state"], told["closing"]) == ("closed", "verified")
    assert told["decisions"][0]["carried_out"]["person"]["username"] == "fern"


def test_a_decision_is_signed_with_the_deciders_own_password(
    by_token: As, engineer: Person, finding: Finding
) -> None:
    client = by_token(engineer)
    wrong = client.post(url(finding, "/decisions"), order(password="not it"))
    assert wrong.status_code == 400
    assert wrong.json()["errors"][0]["pointer"] == "/password"
    unsigned = order()
    del unsigned["password"]
    assert client.post(url(finding, "/decisions"), unsigned).status_code == 400
    assert not finding.decisions.exists()


def test_guessing_the_signature_ends_in_a_pause(
    by_token: As, engineer: Person, finding: Finding
) -> None:
    client = by_token(engineer)
    for _ in range(10):
        answer = client.post(url(finding, "/decisions"), order(password="not it"))
    answer = client.post(url(finding, "/decisions"), order())
    assert answer.status_code == 429
    assert answer["Content-Type"] == "application/problem+json"
    assert int(answer["Retry-After"]) > 0
    assert not finding.decisions.exists()


def test_a_decision_on_what_changed_meanwhile_is_refused(
    by_token: As, engineer: Person, finding: Finding
) -> None:
    answer = by_token(engineer).post(url(finding, "/decisions"), order(seen=0))
    assert answer.status_code == 409
    assert answer.json()["type"].endswith("conflict")


def test_a_second_decision_is_refused(
    by_token: As, engineer: Person, finding: Finding
) -> None:
    client = by_token(engineer)
    assert client.post(url(finding, "/decisions"), order()).status_code == 201
    assert client.post(url(finding, "/decisions"), order()).status_code == 409


@pytest.mark.parametrize(
    ("changed", "pointer"),
    [
        ({"choice": 99}, "/choice"),
        ({"choice": "-1"}, "/choice"),
        ({"choice": "9" * 40}, "/choice"),
        ({"disposition": "leave it"}, "/disposition"),
        ({"choice": "accept"}, "/disposition"),
        ({"choice": "accept", "disposition": "use_as_is", "note": ""}, "/note"),
        ({"chioce": 1}, "/chioce"),
        ({"note": "\x00"}, "/note"),
    ],
)
def test_an_order_that_makes_no_sense_is_refused_by_member(
    by_token: As,
    engineer: Person,
    finding: Finding,
    changed: dict[str, Any],
    pointer: str,
) -> None:
    answer = by_token(engineer).post(url(finding, "/decisions"), order(**changed))
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == pointer


def test_who_took_the_readings_does_not_decide(
    by_token: As, engineer: Person, building: Building
) -> None:
    low = [entry("level:R1", "1000 mm"), entry("level:R2", "1006 mm")]
    record_readings(actor=engineer, building=building, entries=low)
    finding = Finding.objects.get()
    answer = by_token(engineer).post(url(finding, "/decisions"), order())
    assert answer.status_code == 403
    assert "Somebody else decides" in answer.json()["detail"]


def test_another_measurement_is_asked_for_once(
    by_token: As, engineer: Person, finding: Finding
) -> None:
    client = by_token(engineer)
    asked = {"note": "From the other set-up, please."}
    answer = client.post(url(finding, "/ask-again"), asked)
    assert answer.status_code == 200
    assert answer.json()["state"] == "remeasure"
    assert client.post(url(finding, "/ask-again"), asked).status_code == 409


def test_a_time_without_its_zone_is_not_guessed(
    by_token: As, field_lead: Person, engineer: Person, finding: Finding
) -> None:
    made = by_token(engineer).post(url(finding, "/decisions"), order()).json()
    answer = by_token(field_lead).post(
        f"/api/v1/decisions/{made['id']}/carried-out", {"at": "2026-06-01T10:00:00"}
    )
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == "/at"


def _standing(finding: Finding) -> str:
    from checks.models import Reading

    rows = Reading.objects.filter(building=finding.building, check_key="level:R2")
    return rows.current().get().client_id
