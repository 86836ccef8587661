"""Pages that belong to no trade: signing in and out, errors, preferences, health."""

import pytest
from django.apps import apps
from django.test import Client, RequestFactory, override_settings
from django.urls import reverse

from core import views
from core.context_processors import build_navigation
from core.models import Person
from tests.factories import PASSWORD

pytestmark = pytest.mark.django_db


def test_a_visitor_is_sent_to_sign_in(client: Client) -> None:
    answer = client.get(reverse("change-password"))
    assert answer.status_code == 302
    assert answer.headers["Location"].startswith(reverse("sign-in"))


def test_signing_in_and_out_again(client: Client, field_lead: Person) -> None:
    answer = client.post(
        reverse("sign-in"), {"username": "fern", "password": PASSWORD, "next": ""}
    )
    assert answer.headers["Location"] == "/"
    assert client.session["_auth_user_id"] == str(field_lead.pk)
    client.post(reverse("sign-out"))
    assert "_auth_user_id" not in client.session


def test_ten_wrong_passwords_lock_the_name(client: Client, field_lead: Person) -> None:
    entry = {"username": "fern", "password": "not it"}
    answers = [client.post(reverse("sign-in"), entry) for _ in range(10)]
    assert [a.status_code for a in answers] == [200] * 9 + [429]
    entry["password"] = PASSWORD
    locked = client.post(reverse("sign-in"), entry)
    assert locked.status_code == 429
    assert "Too many wrong passwords" in locked.text


def test_a_password_is_changed(client: Client, field_lead: Person) -> None:
    client.force_login(field_lead)
    new = "seven steel tapes"
    answer = client.post(
        reverse("change-password"),
        {"old_password": PASSWORD, "new_password1": new, "new_password2": new},
        follow=True,
    )
    assert "Password changed" in answer.text
    field_lead.refresh_from_db()
    assert field_lead.check_password(new)


def test_every_page_forbids_inline_scripts_and_styles(client: Client) -> None:
    answer = client.get(reverse("sign-in"))
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    assert " style=" not in answer.text
    assert "<script>" not in answer.text


def test_the_sign_in_page_works_without_an_account_in_view(client: Client) -> None:
    page = client.get(reverse("sign-in")).text
    assert "Skip to the content" in page
    assert 'aria-label="Main"' not in page


@pytest.mark.parametrize("name", ["units", "theme"])
def test_a_preference_is_remembered(client: Client, name: str) -> None:
    value = {"units": "metric", "theme": "dark"}[name]
    answer = client.post(reverse("preferences"), {name: value, "next": "/sign-in/"})
    assert answer.headers["Location"] == "/sign-in/"
    assert client.cookies[name].value == value
    assert f'data-{name}="{value}"' in client.get(reverse("sign-in")).text


def test_an_unknown_preference_is_not_kept(client: Client) -> None:
    client.post(reverse("preferences"), {"units": '"><script>'})
    assert "units" not in client.cookies
    client.cookies["units"] = "furlongs"
    assert 'data-units="imperial"' in client.get(reverse("sign-in")).text


def test_preferences_lead_to_no_other_site(client: Client) -> None:
    answer = client.post(
        reverse("preferences"), {"theme": "dark", "next": "https://example.org/"}
    )
    assert answer.headers["Location"] == "/"


def test_a_page_that_is_not_there_says_so_in_the_look(client: Client) -> None:
    answer = client.get("/no-such-page/")
    assert answer.status_code == 404
    assert "The address is wrong" in answer.text


def test_a_fault_page_needs_neither_database_nor_session(rf: RequestFactory) -> None:
    answer = views.server_error(rf.get("/"))
    assert answer.status_code == 500
    assert "Server error" in answer.text


def test_health_tells_live_from_ready(client: Client) -> None:
    assert client.get(reverse("health-live")).json() == {"status": "live"}
    answer = client.get(reverse("health-ready"))
    assert answer.status_code == 200
    assert answer.json() == {
        "status": "ready",
        "database": "ready",
        "broker": "ready",
    }


def test_a_request_id_is_answered_and_a_forged_one_replaced(client: Client) -> None:
    given = client.get(reverse("health-live"), headers={"X-Request-ID": "abc-1"})
    assert given.headers["X-Request-ID"] == "abc-1"
    forged = client.get(
        reverse("health-live"), headers={"X-Request-ID": "a b\tlevel=error"}
    )
    assert len(forged.headers["X-Request-ID"]) == 32


def test_every_navigation_entry_has_an_address() -> None:
    for config in apps.get_app_configs():
        for _label, name in getattr(config, "navigation", ()):
            assert reverse(name)


@pytest.mark.parametrize("name", ["account", "checks:methods"])
def test_no_entry_is_current_on_ones_account_or_on_what_is_looked_up(name: str) -> None:
    found = build_navigation(reverse(name))
    assert [entry.current for entry in found] == [False, False]
    assert [entry.label for entry in build_navigation("/jobs/1/") if entry.current] == [
        "Jobs"
    ]


@override_settings(ALLOWED_HOSTS=["padstone.example.org"])
def test_a_foreign_host_is_not_served(client: Client) -> None:
    answer = client.get(reverse("sign-in"), headers={"host": "elsewhere.example.org"})
    assert answer.status_code == 400
    assert "Bad request" in answer.text


def test_a_stale_form_is_told_apart_from_a_forbidden_one(field_lead: Person) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(field_lead)
    answer = client.post(reverse("sign-out"))
    assert answer.status_code == 403
    assert "Form expired" in answer.text
    assert "_auth_user_id" in client.session
