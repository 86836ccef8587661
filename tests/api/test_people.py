"""Tokens: made with a session or a password, named, ended."""

from datetime import timedelta

import pytest
from django.utils.timezone import now
from knox.models import AuthToken
from rest_framework.test import APIClient

from api.models import CrewToken
from core.models import Person
from jobs.models import Job
from tests.api.conftest import As
from tests.factories import PASSWORD

pytestmark = pytest.mark.django_db
URL = "/api/v1/tokens"


def with_token(text: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {text}")
    return client


def test_name_and_password_make_a_token_that_works(
    anonymous: APIClient, field_lead: Person, job: Job
) -> None:
    asked = {"username": "fern", "password": PASSWORD, "name": "yellow phone"}
    made = anonymous.post(URL, asked)
    assert made.status_code == 201
    me = with_token(made.json()["token"]).get("/api/v1/me").json()
    assert (me["username"], me["role"]) == ("fern", "field")
    assert me["parts"] == [{"job": job.pk, "number": job.number, "role": "field"}]
    assert me["token"]["name"] == "yellow phone"


def test_a_token_ends_when_it_was_said_to(by_session: As, field_lead: Person) -> None:
    made = by_session(field_lead).post(URL, {"name": "a week", "days": 7}).json()
    token = AuthToken.objects.get()
    assert abs(token.expiry - now() - timedelta(days=7)) < timedelta(minutes=1)
    AuthToken.objects.update(expiry=now() - timedelta(seconds=1))
    answer = with_token(made["token"]).get("/api/v1/me")
    assert answer.status_code == 401
    assert not CrewToken.objects.exists()


def test_a_wrong_password_makes_none(anonymous: APIClient, field_lead: Person) -> None:
    asked = {"username": "fern", "password": "not it", "name": "phone"}
    answer = anonymous.post(URL, asked)
    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"
    assert not AuthToken.objects.exists()


def test_ten_wrong_passwords_lock_the_name(
    anonymous: APIClient, field_lead: Person
) -> None:
    asked = {"username": "fern", "password": "not it", "name": "phone"}
    for _ in range(10):
        anonymous.post(URL, asked)
    answer = anonymous.post(URL, {**asked, "password": PASSWORD})
    assert answer.status_code == 429
    assert answer["Content-Type"] == "application/problem+json"
    assert not AuthToken.objects.exists()


def test_a_token_makes_no_token(by_token: As, field_lead: Person) -> None:
    assert by_token(field_lead).post(URL, {"name": "another"}).status_code == 401


def test_tokens_are_listed_by_name_and_never_shown_again(
    by_token: As, field_lead: Person, engineer: Person
) -> None:
    client = by_token(field_lead)
    by_token(engineer)
    listed = client.get(URL).json()
    assert [set(row) for row in listed] == [
        {"id", "name", "created", "expires", "last_used"}
    ]


def test_a_revoked_token_is_refused(
    by_token: As, by_session: As, field_lead: Person
) -> None:
    phone = by_token(field_lead)
    made = CrewToken.objects.get()
    answer = by_session(field_lead).delete(f"{URL}/{made.pk}")
    assert answer.status_code == 204
    assert phone.get("/api/v1/me").status_code == 401


def test_nobody_revokes_anothers_token(
    by_token: As, field_lead: Person, engineer: Person
) -> None:
    phone = by_token(field_lead)
    made = CrewToken.objects.get()
    assert by_token(engineer).delete(f"{URL}/{made.pk}").status_code == 404
    assert phone.get("/api/v1/me").status_code == 200


@pytest.mark.parametrize(
    "asked",
    [
        {"name": ""},
        {"name": "x", "days": 0},
        {"name": "x", "days": 401},
        {"name": "x" * 61},
        {"days": 3},
    ],
)
def test_a_token_needs_a_name_and_an_end(
    by_session: As, field_lead: Person, asked: dict[str, object]
) -> None:
    assert by_session(field_lead).post(URL, asked).status_code == 400


@pytest.mark.parametrize("text", ["", "a b", "nonsense", "\xff\xfe", "x" * 5000])
def test_what_is_no_token_is_refused(db: None, text: str) -> None:
    answer = with_token(text).get("/api/v1/me")
    assert answer.status_code == 401
    assert answer.json()["type"].endswith("not-signed-in")


def test_someone_who_left_has_no_token_any_more(
    by_token: As, field_lead: Person
) -> None:
    phone = by_token(field_lead)
    field_lead.is_active = False
    field_lead.save()
    assert phone.get("/api/v1/me").status_code == 401


def test_a_session_writes_only_with_its_csrf_token(field_lead: Person) -> None:
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(field_lead)
    answer = client.post(URL, {"name": "forged"})
    assert answer.status_code == 403
    assert not AuthToken.objects.exists()
