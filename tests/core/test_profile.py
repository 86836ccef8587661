"""One's own account: preferences, name and e-mail address."""

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from core.models import AccountEvent, Person
from tests.factories import PASSWORD

pytestmark = pytest.mark.django_db


@pytest.fixture
def client_of(field_lead: Person, client: Client) -> Client:
    """Return a browser on which the field lead is signed in."""
    client.force_login(field_lead)
    return client


@pytest.mark.parametrize(
    ("name", "value"),
    [("units", "metric"), ("theme", "dark"), ("time_zone", "America/Chicago")],
)
def test_a_preference_belongs_to_the_account(
    client_of: Client, field_lead: Person, name: str, value: str
) -> None:
    client_of.post(reverse("preferences"), {name: value})
    field_lead.refresh_from_db()
    assert getattr(field_lead, name) == value
    assert name not in client_of.cookies
    other = Client()
    other.force_login(field_lead)
    page = other.get(reverse("profile")).text
    assert f'<option value="{value}" selected>' in page


def test_preferences_of_the_account_come_before_cookies(
    client_of: Client, field_lead: Person
) -> None:
    client_of.cookies["units"] = "decimal"
    Person.objects.filter(pk=field_lead.pk).update(units="metric")
    assert 'data-units="metric"' in client_of.get(reverse("account")).text


@pytest.mark.parametrize("name", ["units", "theme", "time_zone"])
def test_an_unknown_preference_leaves_the_account_as_it_is(
    client_of: Client, field_lead: Person, name: str
) -> None:
    client_of.post(reverse("preferences"), {name: "../furlongs"})
    field_lead.refresh_from_db()
    assert getattr(field_lead, name) == ""


def test_one_preference_leaves_the_others_as_they_are(
    client_of: Client, field_lead: Person
) -> None:
    client_of.post(reverse("preferences"), {"units": "metric"})
    client_of.post(reverse("preferences"), {"theme": "dark"})
    field_lead.refresh_from_db()
    assert (field_lead.units, field_lead.theme) == ("metric", "dark")


def test_the_database_knows_every_preference(field_lead: Person) -> None:
    with pytest.raises(IntegrityError, match="preferences"), transaction.atomic():
        Person.objects.filter(pk=field_lead.pk).update(units="furlongs")


def test_a_person_changes_their_own_name(client_of: Client, field_lead: Person) -> None:
    before = str(field_lead)
    answer = client_of.post(
        reverse("profile"), {"first_name": "Fern", "last_name": "Hale"}
    )
    assert answer.status_code == 302
    field_lead.refresh_from_db()
    assert str(field_lead) == "Fern Hale"
    event = AccountEvent.objects.get()
    assert (event.kind, event.by, event.note) == (
        "name_changed",
        field_lead,
        f"{before} to Fern Hale",
    )


def test_the_same_name_is_no_event(client_of: Client, field_lead: Person) -> None:
    names = {"first_name": field_lead.first_name, "last_name": field_lead.last_name}
    client_of.post(reverse("profile"), names)
    assert not AccountEvent.objects.exists()


def test_a_name_is_required(client_of: Client, field_lead: Person) -> None:
    answer = client_of.post(reverse("profile"), {"first_name": " "})
    assert answer.status_code == 400
    assert not AccountEvent.objects.exists()


def test_an_address_is_changed_with_the_password(
    client_of: Client, field_lead: Person
) -> None:
    address = reverse("save-email-address")
    given = {"email": "fern.hale@example.org", "password": PASSWORD}
    assert client_of.post(address, given).status_code == 302
    field_lead.refresh_from_db()
    assert field_lead.email == "fern.hale@example.org"
    event = AccountEvent.objects.get()
    assert event.kind == "email_changed"
    assert event.note.endswith("to fern.hale@example.org")


@pytest.mark.parametrize(
    "given",
    [
        {"email": "fern.hale@example.org", "password": "a guess"},
        {"email": "fern.hale@example.org"},
        {"email": "no address", "password": PASSWORD},
    ],
)
def test_an_address_is_not_changed_without_a_signature_or_an_address(
    client_of: Client, field_lead: Person, given: dict[str, str]
) -> None:
    before = field_lead.email
    assert client_of.post(reverse("save-email-address"), given).status_code == 400
    field_lead.refresh_from_db()
    assert field_lead.email == before
    assert not AccountEvent.objects.exists()


def test_the_address_is_changed_by_post_alone(client_of: Client) -> None:
    assert client_of.get(reverse("save-email-address")).status_code == 405
