"""The page of one's crew tokens: made, shown once, used, ended."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.timezone import now
from knox.models import AuthToken

from api.models import CrewToken
from api.services import create_crew_token
from core.models import Person
from tests.api.test_people import with_token

pytestmark = pytest.mark.django_db
PAGE = "/account/tokens/"


def shown(page: str) -> str:
    found = re.search(r'class="shown-once"><code>(\w+)</code>', page)
    assert found, page
    return found[1]


def test_a_token_is_shown_once_and_works(client: Client, field_lead: Person) -> None:
    client.force_login(field_lead)
    answer = client.post(PAGE, {"name": "yellow phone", "days": 30})
    text = shown(answer.text)
    assert "no-store" in answer.headers["Cache-Control"]
    assert with_token(text).get("/api/v1/me").json()["username"] == "fern"
    later = client.get(PAGE).text
    assert "yellow phone" in later
    assert text not in later
    assert text not in str(vars(AuthToken.objects.get()))


@pytest.mark.parametrize(
    "asked",
    [{"name": "", "days": 9}, {"name": "x", "days": 0}, {"name": "x", "days": 401}],
)
def test_a_token_needs_a_name_and_an_end(
    client: Client, field_lead: Person, asked: dict[str, Any]
) -> None:
    client.force_login(field_lead)
    assert client.post(PAGE, asked).status_code == 400
    assert not AuthToken.objects.exists()


def test_a_token_ended_on_the_page_is_refused(
    client: Client, field_lead: Person
) -> None:
    token, text = create_crew_token(actor=field_lead, name="lost phone", days=9)
    client.force_login(field_lead)
    ended = client.post(reverse("tokens:revoke", args=[token.pk]), follow=True)
    assert "Token revoked: lost phone." in ended.text
    assert with_token(text).get("/api/v1/me").status_code == 401
    assert "lost phone" not in client.get(PAGE).text


def test_nobody_sees_anothers_token(
    client: Client, field_lead: Person, engineer: Person
) -> None:
    create_crew_token(actor=engineer, name="desk program", days=9)
    client.force_login(field_lead)
    assert "desk program" not in client.get(PAGE).text


def test_the_last_use_of_a_token_is_told_to_the_minute(
    client: Client, field_lead: Person
) -> None:
    token, text = create_crew_token(actor=field_lead, name="a phone", days=9)
    client.force_login(field_lead)
    assert "not used yet" in client.get(PAGE).text
    with_token(text).get("/api/v1/me")
    first = CrewToken.objects.get().last_used_at
    assert first is not None
    assert "last used" in client.get(PAGE).text
    with_token(text).get("/api/v1/me")
    assert CrewToken.objects.get().last_used_at == first
    CrewToken.objects.update(last_used_at=now() - timedelta(minutes=2))
    with_token(text).get("/api/v1/me")
    again = CrewToken.objects.get().last_used_at
    assert again is not None
    assert again > first
    assert token.last_used_at is None  # as it was made


def test_a_token_that_ended_by_itself_is_not_listed(
    client: Client, field_lead: Person
) -> None:
    create_crew_token(actor=field_lead, name="last year", days=1)
    AuthToken.objects.update(expiry=now() - timedelta(seconds=1))
    client.force_login(field_lead)
    assert "last year" not in client.get(PAGE).text


def test_the_page_asks_as_often_for_many_tokens(
    client: Client, field_lead: Person, django_assert_num_queries: Any
) -> None:
    client.force_login(field_lead)
    for count in (1, 4):
        for number in range(count):
            create_crew_token(actor=field_lead, name=f"phone {number}", days=9)
        with django_assert_num_queries(4):
            client.get(PAGE)
