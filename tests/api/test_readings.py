"""Readings in bulk: all or none, safe to send again, nothing lost."""

import json
from datetime import timedelta
from typing import Any

import psycopg
import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils.timezone import now
from rest_framework.test import APIClient

from api import base
from checks.models import Reading
from core.models import Person
from jobs.models import Building, Job
from tests import factories
from tests.api.conftest import As
from tests.api.samples import entry, store

pytestmark = pytest.mark.django_db


@pytest.fixture
def crew(by_token: As, field_lead: Person) -> APIClient:
    """Return the field lead's phone."""
    return by_token(field_lead)


def url(building: Building, what: str = "readings") -> str:
    return f"/api/v1/buildings/{building.pk}/{what}"


def send(client: APIClient, building: Building, *entries: Any, **members: Any) -> Any:
    return client.post(url(building), {"readings": list(entries), **members})


def test_readings_are_stored_judged_and_summed_up(
    crew: APIClient, building: Building
) -> None:
    first = entry("setback:R1.1", '7 1/4"', by="crew 4", at="2026-05-11T13:41:00Z")
    second = entry("strength:T3", "20 MPa")
    answer = send(crew, building, first, second)
    assert answer.status_code == 201
    told = answer.json()
    assert [row["id"] for row in told["stored"]] == [first["id"], second["id"]]
    assert told["stored"][0] == told["stored"][0] | {
        "check": "setback:R1.1",
        "entered": '7 1/4"',
        "value_mm": 184.15,
        "value_mpa": None,
        "crew": "crew 4",
        "taken_at": "2026-05-11T13:41:00Z",
        "supersedes": None,
        "recorded_by": {"username": "fern", "name": "Fern"},
        "verdict": "outside",
    }
    assert (told["stored"][1]["value_mm"], told["stored"][1]["value_mpa"]) == (None, 20)
    assert (told["repeated"], told["refused"]) == ([], [])
    assert told["evaluation"]["due"] is False
    assert told["evaluation"]["verdicts"]["outside"] == 1
    assert told["evaluation"]["open_findings"] == 1


def test_what_is_sent_twice_is_stored_once(crew: APIClient, building: Building) -> None:
    sent = [entry("level:R1", "1 m"), entry("level:R2", "1001 mm")]
    assert send(crew, building, *sent).status_code == 201
    again = send(crew, building, *sent)
    assert again.status_code == 200
    assert again.json()["stored"] == []
    assert again.json()["repeated"] == [each["id"] for each in sent]
    assert Reading.objects.count() == 2


def test_sending_again_makes_up_for_a_judgement_that_broke_off(
    crew: APIClient, building: Building
) -> None:
    sent = [entry("level:R1", "1 m"), entry("level:R2", "1006 mm")]
    send(crew, building, *sent)
    more = entry("level:R2", "1001 mm")
    recorded = send(crew, building, more).json()["stored"]
    Building.objects.update(evaluation_due_since=now())
    again = send(crew, building, more).json()
    assert (again["repeated"], again["stored"]) == ([recorded[0]["id"]], [])
    assert again["evaluation"]["due"] is False


def test_half_known_readings_store_the_other_half(
    crew: APIClient, building: Building
) -> None:
    first, second = entry("level:R1", "1 m"), entry("level:R2", "1001 mm")
    send(crew, building, first)
    answer = send(crew, building, first, second)
    assert answer.status_code == 201
    assert [row["id"] for row in answer.json()["stored"]] == [second["id"]]
    assert answer.json()["repeated"] == [first["id"]]


def test_one_bad_reading_keeps_all_others_out(
    crew: APIClient, building: Building
) -> None:
    bad = entry("setback:R1.9", '7"', temprature="20 degC")
    answer = send(crew, building, entry("level:R1", "1 m"), bad)
    assert answer.status_code == 422
    assert answer["Content-Type"] == "application/problem+json"
    pointers = [error["pointer"] for error in answer.json()["errors"]]
    assert sorted(pointers) == ["/readings/1/check", "/readings/1/temprature"]
    assert not Reading.objects.exists()


def test_keep_good_stores_the_good_and_names_the_bad(
    crew: APIClient, building: Building
) -> None:
    good, bad = entry("level:R1", "1 m"), entry("level:R1", '4 9/8"')
    answer = send(crew, building, bad, good, keep_good=True)
    assert answer.status_code == 201
    assert [row["id"] for row in answer.json()["stored"]] == [good["id"]]
    assert answer.json()["refused"][0]["pointer"] == "/readings/0/value"


def test_keep_good_with_nothing_good_is_refused(
    crew: APIClient, building: Building
) -> None:
    answer = send(crew, building, entry("level:R1", "one"), keep_good=True)
    assert answer.status_code == 422


def test_another_buildings_check_is_refused(
    crew: APIClient, building: Building, job: Job, operations: Person
) -> None:
    other = store(name="Other store")
    other["positions"] = [{**other["positions"][0], "mark": "Z9"}]
    del other["readings"]
    factories.building(job, operations, other)
    answer = send(crew, building, entry("level:Z9", "1 m"))
    assert answer.status_code == 422
    assert "no position 'Z9'" in answer.json()["errors"][0]["message"]


def test_an_id_taken_by_another_content_is_refused(
    crew: APIClient, building: Building
) -> None:
    first = entry("level:R1", "1 m")
    send(crew, building, first)
    answer = send(crew, building, {**first, "value": "2 m"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/readings/0/id"
    assert Reading.objects.get().entered == "1 m"


def test_a_correction_names_what_it_replaces(
    crew: APIClient, building: Building
) -> None:
    wrong = entry("level:R1", "1 m")
    right = entry("level:R1", "1.1 m", supersedes=wrong["id"])
    answer = send(crew, building, right, wrong)
    assert answer.status_code == 201
    listed = crew.get(url(building)).json()["results"]
    by_id = {row["id"]: row for row in listed}
    assert by_id[right["id"]]["supersedes"] == wrong["id"]
    assert by_id[wrong["id"]]["replaced_by"] == right["id"]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/readings"),
        ({"readings": "none"}, "/readings"),
        ({"readings": [], "keepgood": True}, "/keepgood"),
        ({"readings": [], "keep_good": "perhaps"}, "/keep_good"),
        ([], ""),
        ("text", ""),
    ],
)
def test_a_body_that_is_no_batch_is_refused(
    crew: APIClient, building: Building, body: Any, pointer: str
) -> None:
    answer = crew.post(url(building), body, format="json")
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == pointer


@pytest.mark.parametrize("member", ["id", "supersedes", "by", "check", "value"])
@pytest.mark.parametrize("text", ["\x00", "a\ud800", "\udfffb"])
def test_text_no_record_can_keep_is_refused_by_its_place(
    crew: APIClient, building: Building, member: str, text: str
) -> None:
    body = json.dumps({"readings": [entry("level:R1", "1 m") | {member: text}]})
    answer = crew.post(url(building), body, content_type="application/json")
    assert answer.status_code == 422
    assert [e["pointer"] for e in answer.json()["errors"]] == [f"/readings/0/{member}"]


def test_a_member_named_twice_is_refused_not_guessed(
    crew: APIClient, building: Building
) -> None:
    body = b'{"readings": [{"check": "level:R1", "value": "1 m", "value": "2 m"}]}'
    answer = crew.generic("POST", url(building), body, "application/json")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/readings/0/value"
    assert not Reading.objects.exists()


def test_a_huge_body_is_refused_with_the_limit(
    crew: APIClient, building: Building, settings: Any
) -> None:
    settings.API_MAX_BODY = 1000
    notes = [entry("level:R1", "1 m", note="n" * 400) for _ in range(3)]
    answer = send(crew, building, *notes)
    assert answer.status_code == 413
    assert "1,000 bytes" in answer.json()["detail"]
    assert not Reading.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_a_busy_record_asks_to_be_asked_again(
    crew: APIClient, building: Building, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(base, "LOCK_TIMEOUT", "200ms")
    sent = entry("level:R1", "1 m")
    with psycopg.connect(**connection.get_connection_params()) as other:
        other.execute(
            "SELECT 1 FROM jobs_building WHERE id = %s FOR UPDATE", [building.pk]
        )
        answer = send(crew, building, sent)
    assert answer.status_code == 503
    assert answer["Content-Type"] == "application/problem+json"
    assert int(answer["Retry-After"]) > 0
    assert send(crew, building, sent).status_code == 201


def test_a_wait_for_a_lock_ends(crew: APIClient, building: Building) -> None:
    def timeout() -> str:
        with connection.cursor() as cursor:
            cursor.execute("SHOW lock_timeout")
            return str(cursor.fetchone()[0])

    before = timeout()
    with base.lock_timeout():
        assert timeout() == "10s"
        with pytest.raises(ZeroDivisionError), transaction.atomic():
            raise ZeroDivisionError
    assert timeout() == before


def test_readings_come_in_pages_that_new_ones_do_not_shift(
    crew: APIClient, building: Building
) -> None:
    first = [entry("level:R1", f"{1000 + n} mm") for n in range(5)]
    send(crew, building, *first)
    page = crew.get(url(building), {"limit": 3}).json()
    assert [row["id"] for row in page["results"]] == [e["id"] for e in first[:3]]
    late = entry("level:R2", "1 m")
    send(crew, building, late)
    rest = crew.get(page["next"]).json()
    assert [row["id"] for row in rest["results"]] == [
        *(each["id"] for each in first[3:]),
        late["id"],
    ]
    assert rest["next"] is None


def test_readings_are_found_by_check_mark_and_time(
    crew: APIClient, building: Building
) -> None:
    sent = {
        check: entry(check, value)
        for check, value in {
            "level:R1": "1 m",
            "setback:R1.2": '7"',
            "gage:R1.1-2": '5"',
            "level:R2": "1 m",
        }.items()
    }
    send(crew, building, *sent.values())

    def found(**asked: str) -> list[str]:
        answer = crew.get(url(building), asked)
        assert answer.status_code == 200
        return [row["check"] for row in answer.json()["results"]]

    assert found(check="level:R2") == ["level:R2"]
    assert found(mark="R1") == ["level:R1", "setback:R1.2", "gage:R1.1-2"]
    assert found(mark="R") == []
    assert found(mark="R.") == []
    assert found(since=(now() + timedelta(minutes=1)).isoformat()) == []
    assert len(found(since=(now() - timedelta(minutes=1)).isoformat())) == 4


@pytest.mark.parametrize(
    "asked",
    [
        {"since": "yesterday"},
        {"since": "2026-05-01T10:00"},
        {"mark": "R\x001"},
        {"m": "R1"},
    ],
)
def test_parameters_that_do_not_fit_are_named(
    crew: APIClient, building: Building, asked: dict[str, str]
) -> None:
    answer = crew.get(url(building), asked)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["parameter"] == next(iter(asked))


def test_a_made_up_cursor_is_not_found(crew: APIClient, building: Building) -> None:
    from base64 import b64encode

    for made_up in (b"p=twelve", b"p=" + b"9" * 40, b"\xff"):
        cursor = b64encode(made_up).decode()
        answer = crew.get(url(building), {"cursor": cursor})
        assert answer.status_code == 404


def test_listing_costs_the_same_however_many_there_are(
    crew: APIClient, building: Building
) -> None:
    send(crew, building, entry("level:R1", "1 m"))
    with CaptureQueriesContext(
        connection,
    ) as few:
        crew.get(url(building))
    old = entry("level:R2", "1 m")
    send(crew, building, old, *(entry("level:R2", "1 m") for _ in range(8)))
    send(crew, building, entry("level:R2", "1 m", supersedes=old["id"]))
    with CaptureQueriesContext(connection) as many:
        crew.get(url(building))
    assert len(many) == len(few)


def test_the_sheet_shows_what_is_planned_and_what_was_found(
    crew: APIClient, building: Building
) -> None:
    send(crew, building, entry("setback:R1.1", '7 1/4"'))
    sheet = crew.get(url(building, "checks")).json()
    rows = {row["check"]: row for row in sheet["checks"]}
    row = rows["setback:R1.1"]
    assert row["nominal"] == pytest.approx(177.8)
    assert row["deviation"] == pytest.approx(6.35)
    assert (row["verdict"], row["readings"]) == ("outside", 1)
    assert rows["setback:R1.2"]["verdict"] == "unmeasured"
    assert next(iter(rows)) == "diagonal:A-C"


def test_the_sheet_can_hide_what_is_expected_until_it_is_read(
    crew: APIClient, building: Building
) -> None:
    send(crew, building, entry("setback:R1.1", '7 1/4"'))
    sheet = crew.get(url(building, "checks"), {"expected": "hidden"}).json()
    rows = {row["check"]: row for row in sheet["checks"]}
    assert rows["setback:R1.1"]["nominal"] == pytest.approx(177.8)
    hidden = rows["setback:R1.2"]
    told = ("nominal", "limit", "lower", "upper", "deviation", "observed")
    assert [hidden[name] for name in told] == [None] * 6
