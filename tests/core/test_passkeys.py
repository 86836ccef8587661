"""Passkeys: added, listed, removed, where there are any; and what is refused."""

import json
import time
from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, IntegrityError, transaction
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils.timezone import now

from core import passkeys
from core.models import AccountEvent, Passkey, Person
from jobs.models import Job
from tests.core.passkey_client import add, begun, browser, challenge, with_passkey
from tests.factories import PASSWORD
from tests.software_authenticator import PRESENT, Authenticator

pytestmark = pytest.mark.django_db


def taken_back(client: Client, key: Passkey, **entry: str) -> Any:
    return client.post(reverse("remove-passkey", args=[key.pk]), entry)


# ---- adding -----------------------------------------------------------------


def test_a_passkey_is_added_listed_and_on_record(
    field_lead: Person, administrator: Person, job: Job
) -> None:
    client, device = with_passkey(field_lead)
    key = Passkey.objects.get()
    assert bytes(key.credential_id) == device.key_id
    assert (key.person, key.name, key.rp_id) == (field_lead, "own phone", "localhost")
    assert key.transports == ["internal"]
    page = client.get(reverse("passkeys")).text
    assert "own phone" in page
    assert "not used yet" in " ".join(page.split())
    event = AccountEvent.objects.get()
    assert (event.kind, event.by, event.note) == (
        "passkey_added",
        field_lead,
        "own phone",
    )
    trail = browser(administrator).get(reverse("trail", args=[job.pk])).text
    assert f"{field_lead}: passkey added" in trail


def test_a_passkey_is_begun_with_the_password_alone(field_lead: Person) -> None:
    client = browser(field_lead)
    for entry in ({}, {"password": "not it"}, {"password": ""}, {"assertion": " "}):
        answer = client.post(reverse("passkeys"), {"name": "phone", **entry})
        assert answer.status_code == 400
    assert "not your password" in answer.text
    made = client.get(reverse("make-passkey"))
    assert made.headers["Location"] == reverse("passkeys")


def test_a_device_is_asked_to_know_its_owner_and_to_keep_the_key(
    field_lead: Person,
) -> None:
    client, device = with_passkey(field_lead)
    options = begun(client, "another")
    assert options["rp"] == {"id": "localhost", "name": "Padstone"}
    assert options["attestation"] == "none"
    chosen = options["authenticatorSelection"]
    assert (chosen["residentKey"], chosen["userVerification"]) == (
        "required",
        "required",
    )
    (known,) = options["excludeCredentials"]
    assert known["id"] == json.loads(device.sign(options))["id"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"origin": "http://localhost:9000"},
        {"origin": "https://localhost:8000"},
        {"rp_id": "elsewhere.example.org"},
        {"flags": PRESENT},
        {"flags": 0},
        {"key_id": b""},
    ],
)
def test_what_does_not_hold_is_not_added(
    wrong: dict[str, Any], field_lead: Person
) -> None:
    page = add(browser(field_lead), Authenticator(**wrong))
    assert "could not be added" in page
    assert not Passkey.objects.exists()


@pytest.mark.parametrize("made", ["", "no JSON", "[]", "[" * 9000, '{"id": 1}'])
def test_what_is_no_passkey_is_not_added(made: str, field_lead: Person) -> None:
    client = browser(field_lead)
    begun(client)
    answer = client.post(reverse("make-passkey"), {"assertion": made}, follow=True)
    assert "could not be added" in answer.text


def test_a_passkey_is_added_once_and_in_time(
    field_lead: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, device = browser(field_lead), Authenticator()
    made = {"assertion": device.make(begun(client))}
    client.post(reverse("make-passkey"), made)
    again = client.post(reverse("make-passkey"), made, follow=True)
    assert "Start again" in again.text
    late = {"assertion": Authenticator().make(begun(client, "late"))}
    later = time.time() + passkeys.CHALLENGE_TTL_S + 1
    monkeypatch.setattr(time, "time", lambda: later)
    answer = client.post(reverse("make-passkey"), late, follow=True)
    assert "Start again" in answer.text
    assert Passkey.objects.count() == 1


def test_a_passkey_of_somebody_is_nobody_elses(
    field_lead: Person, engineer: Person
) -> None:
    _, device = with_passkey(field_lead)
    page = add(browser(engineer), device)
    assert "exists already" in page
    assert Passkey.objects.get().person == field_lead


def test_a_name_is_given_once_and_twenty_are_enough(
    field_lead: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, _ = with_passkey(field_lead)
    twice = {"name": "own phone", "password": PASSWORD}
    assert "with this name" in client.post(reverse("passkeys"), twice).text
    monkeypatch.setattr(passkeys, "MAX_PASSKEYS", 1)
    more = {"name": "another", "password": PASSWORD}
    assert "Remove one first" in client.post(reverse("passkeys"), more).text


# ---- where passkeys are, and where not --------------------------------------


@pytest.mark.parametrize(
    ("public_url", "host", "https", "place"),
    [
        ("http://127.0.0.1:8100", "localhost:8100", False, "http://localhost:8100"),
        ("http://127.0.0.1:8100", "127.0.0.1:8100", False, None),
        ("https://192.0.2.7", "192.0.2.7", True, None),
        ("https://pad.example.org", "pad.example.org", True, "https://pad.example.org"),
        ("https://pad.example.org", "other.example.org", True, None),
        ("http://pad.example.org", "pad.example.org", False, None),
        ("https://.example.org", ".example.org", True, None),
        ("https://[2001:db8::1]", "[2001:db8::1]", True, None),
    ],
)
def test_passkeys_are_for_the_address_of_the_house_and_for_localhost(
    public_url: str, host: str, https: bool, place: str | None, settings: Any
) -> None:
    settings.PUBLIC_URL, settings.ALLOWED_HOSTS = public_url, ["*"]
    request = RequestFactory().get("/", secure=https, headers={"host": host})
    found = passkeys.relying_party_for(request)
    assert (found.origin if found else None) == place
    assert found is None or found.rp_id == host.split(":")[0]


def test_where_there_are_none_nothing_is_offered(
    field_lead: Person, settings: Any
) -> None:
    with_passkey(field_lead)
    number = {"host": "127.0.0.1:8000"}
    client = Client(headers=number)
    page = client.get(reverse("sign-in")).text
    assert "passkey" not in page
    assert client.post(reverse("passkey-challenge")).status_code == 404
    client.force_login(field_lead)
    page = client.get(reverse("passkeys")).text
    assert "own phone" in page
    assert "Passkeys do not work at this address" in page
    assert 'name="password"' not in page
    settings.PUBLIC_URL = "https://pad.example.org"
    page = client.get(reverse("passkeys")).text
    assert "Add passkeys at https://pad.example.org." in page
    begin = {"name": "another", "password": PASSWORD}
    client.post(reverse("passkeys"), begin)
    made = client.get(reverse("make-passkey"))
    assert made.headers["Location"] == reverse("passkeys")
    key = Passkey.objects.get()
    assert taken_back(client, key, password=PASSWORD).status_code == 302
    assert not Passkey.objects.of(field_lead).exists()
    assert "passkey" in browser().get(reverse("sign-in")).text


def test_a_passkey_answers_to_no_other_address(
    field_lead: Person, settings: Any
) -> None:
    _, device = with_passkey(field_lead)
    settings.PUBLIC_URL = "https://testserver"
    client = Client(headers={"host": "testserver"})
    address = reverse("passkey-challenge")
    options = client.post(address, secure=True).json()
    device.origin, device.rp_id = "https://testserver", "testserver"
    entry = {"assertion": device.sign(options)}
    answer = client.post(reverse("passkey-sign-in"), entry, secure=True)
    assert answer.status_code == 400
    client.force_login(field_lead)
    assert client.post(address, secure=True).json()["allowCredentials"] == []
    page = client.get(reverse("passkeys"), secure=True).text
    assert "for localhost" in " ".join(page.split())


# ---- removing ---------------------------------------------------------------


def test_a_passkey_is_removed_with_the_password_and_the_record_stays(
    field_lead: Person,
) -> None:
    client, _ = with_passkey(field_lead)
    key = Passkey.objects.get()
    wrong = taken_back(client, key, password="not it")
    assert "not your password" in wrong.text
    assert taken_back(client, key, password=PASSWORD).status_code == 302
    assert taken_back(client, key, password=PASSWORD).status_code == 404
    assert "No passkeys." in client.get(reverse("passkeys")).text
    key.refresh_from_db()
    assert key.removed_at is not None
    event = AccountEvent.objects.last()
    assert event
    assert (event.kind, event.note) == ("passkey_removed", "own phone")


def test_a_passkey_is_removed_with_another_and_not_with_itself(
    field_lead: Person,
) -> None:
    client, device = with_passkey(field_lead)
    key = Passkey.objects.get()
    alone = client.get(reverse("remove-passkey", args=[key.pk])).text
    assert "Sign with another passkey" not in alone
    same = taken_back(client, key, assertion=device.sign(challenge(client)))
    assert "a passkey other than the one you remove" in same.text
    other = Authenticator()
    add(client, other, "office desk")
    page = client.get(reverse("remove-passkey", args=[key.pk])).text
    assert "Sign with another passkey" in page
    done = taken_back(client, key, assertion=other.sign(challenge(client)))
    assert done.status_code == 302
    assert Passkey.objects.of(field_lead).get().name == "office desk"


def test_nobody_removes_anothers_passkey(field_lead: Person, engineer: Person) -> None:
    with_passkey(field_lead)
    key = Passkey.objects.get()
    client = browser(engineer)
    assert client.get(reverse("remove-passkey", args=[key.pk])).status_code == 404
    assert taken_back(client, key, password=PASSWORD).status_code == 404
    assert "own phone" not in client.get(reverse("passkeys")).text
    assert Passkey.objects.of(field_lead).exists()


# ---- what the database promises ---------------------------------------------


@pytest.mark.parametrize(
    "change",
    [
        {"sign_count": 4},
        {"public_key": b"another"},
        {"person_id": 1},
        {"name": "another"},
        {"rp_id": "example.org"},
    ],
)
def test_a_passkey_stays_as_it_was(change: dict[str, Any], field_lead: Person) -> None:
    with_passkey(field_lead)
    Passkey.objects.update(sign_count=5)
    with pytest.raises(DatabaseError, match="Cannot update"), transaction.atomic():
        Passkey.objects.update(**change)


def test_a_removed_passkey_is_not_used_again_nor_any_thrown_away(
    field_lead: Person,
) -> None:
    with_passkey(field_lead)
    with pytest.raises(IntegrityError, match="times_in_order"), transaction.atomic():
        Passkey.objects.update(last_used_at=now() - timedelta(days=1))
    Passkey.objects.update(removed_at=now())
    with pytest.raises(DatabaseError, match="Cannot update"), transaction.atomic():
        Passkey.objects.update(removed_at=None)
    with pytest.raises(DatabaseError, match="Cannot delete"), transaction.atomic():
        Passkey.objects.all().delete()


def test_the_page_asks_as_often_with_many_passkeys(
    field_lead: Person, django_assert_max_num_queries: Any
) -> None:
    client, _ = with_passkey(field_lead)
    for name in ("second", "third"):
        add(client, Authenticator(), name)
        with django_assert_max_num_queries(5):
            assert name in client.get(reverse("passkeys")).text
