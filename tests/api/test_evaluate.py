"""The arithmetic over the wire is the arithmetic on the command line."""

import io
import json
import sys
from contextlib import suppress
from typing import Any

import pytest
from django.core.management import call_command
from rest_framework.test import APIClient

from core.models import Person
from tests.api.conftest import As
from tests.api.samples import measured, store

pytestmark = pytest.mark.django_db
URL = "/api/v1/evaluate"


def command_line(body: bytes, monkeypatch: pytest.MonkeyPatch) -> tuple[str, str]:
    """Run `manage.py evaluate -` on these bytes."""
    out, err = io.StringIO(), io.StringIO()
    given = io.TextIOWrapper(io.BytesIO(body))
    monkeypatch.setattr(sys, "stdin", given)
    monkeypatch.setattr(sys, "stdout", out)
    with suppress(SystemExit):
        call_command("evaluate", "-", stderr=err)
    return out.getvalue(), err.getvalue()


def post(client: APIClient, body: bytes) -> Any:
    return client.generic("POST", URL, body, content_type="application/json")


def test_it_answers_what_the_command_line_prints(
    by_token: As, field_lead: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    body = json.dumps(measured()).encode()
    answer = post(by_token(field_lead), body)
    printed, _ = command_line(body, monkeypatch)
    assert answer.status_code == 200
    assert json.loads(answer.content) == json.loads(printed)
    assert answer.json()["findings"]


@pytest.mark.parametrize(
    "body",
    [
        b'{"format": "padstone.building/1", "name": "a", "name": "b"}',
        b'{"format": "padstone.building/1", "length_unit": "in", "outline": [NaN]}',
        b'{"format": 1',
        b"\xff\xfe",
        b"[]",
        b"",
        b"[" * 100_000,
        json.dumps(store(wall="A-B")).encode(),
        json.dumps(store(readings=[{"check": "level:Q9", "value": 1}])).encode(),
    ],
    ids=[
        "a member named twice",
        "NaN",
        "cut off",
        "not UTF-8",
        "a list",
        "nothing",
        "too deep",
        "an unknown member",
        "readings of nothing",
    ],
)
def test_what_the_command_line_refuses_is_refused_in_the_same_words(
    body: bytes,
    by_token: As,
    field_lead: Person,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    answer = post(by_token(field_lead), body)
    printed, told = command_line(body, monkeypatch)
    assert printed == ""
    assert answer.status_code == 422
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["errors"] == json.loads(told)["errors"]
    assert set(answer.json()) == {"type", "title", "status", "detail", "errors"}


def test_an_outline_without_a_single_position_is_evaluated_too(
    by_token: As, field_lead: Person
) -> None:
    body = json.dumps(store(positions=[], details={})).encode()
    answer = post(by_token(field_lead), body)
    assert answer.status_code == 200
    assert answer.json()["positions"] == []


def test_a_session_may_evaluate_too(by_session: As, field_lead: Person) -> None:
    body = json.dumps(store()).encode()
    assert post(by_session(field_lead), body).status_code == 200


def test_nobody_in_particular_may_not_unless_the_house_opens_it(
    anonymous: APIClient, settings: Any
) -> None:
    body = json.dumps(store()).encode()
    refused = post(anonymous, body)
    assert refused.status_code == 401
    assert refused["WWW-Authenticate"] == "Token"
    settings.OPEN_EVALUATE = True
    assert post(anonymous, body).status_code == 200


def test_a_body_over_the_limit_is_refused_with_the_limit(
    by_token: As, field_lead: Person, settings: Any
) -> None:
    client = by_token(field_lead)
    body = json.dumps(store()).encode()
    settings.API_MAX_BODY = len(body)
    assert post(client, body).status_code == 200
    answer = post(client, body + b" ")
    assert answer.status_code == 413
    assert answer.json()["type"].endswith("too-large")
    assert f"{len(body):,} bytes" in answer.json()["detail"]


def test_another_kind_of_body_is_refused(by_token: As, field_lead: Person) -> None:
    answer = by_token(field_lead).generic("POST", URL, b"{}", "text/plain")
    assert answer.status_code == 415
    assert answer["Content-Type"] == "application/problem+json"


def test_it_can_be_asked_only_so_often(
    by_token: As, field_lead: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    from rest_framework.throttling import ScopedRateThrottle

    rates = {**ScopedRateThrottle.THROTTLE_RATES, "evaluate": "1/day"}
    monkeypatch.setattr(ScopedRateThrottle, "THROTTLE_RATES", rates)
    client = by_token(field_lead)
    assert post(client, b"{}").status_code == 422
    answer = post(client, b"{}")
    assert answer.status_code == 429
    assert int(answer["Retry-After"]) > 0


@pytest.mark.parametrize(
    ("members", "said"),
    [
        ({"value": "2900 psi", "at": "2999-01-01T00:00:00Z"}, "in the future"),
        ({"value": "3000 MPa"}, "at most 20,000 psi"),
    ],
)
def test_a_sample_that_cannot_be_is_refused_here_and_on_the_command_line(
    members: dict[str, str],
    said: str,
    by_token: As,
    field_lead: Person,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    document = store(readings=[{"check": "strength:F1", **members}])
    body = json.dumps(document).encode()
    answer = post(by_token(field_lead), body)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    printed, refused = command_line(body, monkeypatch)
    assert not printed
    assert said in refused
