"""Passkeys: added, listed, signed in with, removed; and every one that is refused."""

import json
import time
from datetime import timedelta
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.db import DatabaseError, IntegrityError, transaction
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils.timezone import now

from core import passkeys
from core.models import AccountEvent, Device, Passkey, Person
from jobs.models import Job
from tests.authenticator import ATTESTED, PRESENT, Authenticator
from tests.core.passkeys import add, begun, browser, challenge, with_passkey
from tests.factories import PASSWORD

pytestmark = pytest.mark.django_db


def signed_in(client: Client, assertion: str, **more: str) -> Any:
    entry = {"assertion": assertion, **more}
    return client.post(reverse("passkey-sign-in"), entry)


def who(client: Client) -> str | None:
    return client.session.get("_auth_user_id")


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
    assert "not used yet" in page
    event = AccountEvent.objects.get()
    assert (event.kind, event.by, event.note) == (
        "passkey_added",
        field_lead,
        "own phone",
    )
    trail = browser(administrator).get(reverse("trail", args=[job.pk])).text
    assert f"{field_lead}: added a passkey" in trail


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
    assert "begin again" in again.text
    late = {"assertion": Authenticator().make(begun(client, "late"))}
    later = time.time() + passkeys.ALIVE_S + 1
    monkeypatch.setattr(time, "time", lambda: later)
    answer = client.post(reverse("make-passkey"), late, follow=True)
    assert "begin again" in answer.text
    assert Passkey.objects.count() == 1


def test_a_passkey_of_somebody_is_nobody_elses(
    field_lead: Person, engineer: Person
) -> None:
    _, device = with_passkey(field_lead)
    page = add(browser(engineer), device)
    assert "there already" in page
    assert Passkey.objects.get().person == field_lead


def test_a_name_is_given_once_and_twenty_are_enough(
    field_lead: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, _ = with_passkey(field_lead)
    twice = {"name": "own phone", "password": PASSWORD}
    assert "of this name" in client.post(reverse("passkeys"), twice).text
    monkeypatch.setattr(passkeys, "MOST", 1)
    more = {"name": "another", "password": PASSWORD}
    assert "remove one first" in client.post(reverse("passkeys"), more).text


# ---- signing in -------------------------------------------------------------


def test_a_passkey_signs_in_without_a_user_name(field_lead: Person, job: Job) -> None:
    _, device = with_passkey(field_lead)
    client = browser()
    options = challenge(client)
    assert options["allowCredentials"] == []
    assert options["userVerification"] == "required"
    before = client.session.session_key
    answer = signed_in(client, device.sign(options), next=job.get_absolute_url())
    assert answer.headers["Location"] == job.get_absolute_url()
    assert who(client) == str(field_lead.pk)
    assert client.session.session_key != before
    assert Device.objects.of(field_lead).signed_in().count() == 2
    key = Passkey.objects.get()
    assert key.sign_count == 1
    assert key.last_used_at is not None


def test_the_page_leads_nowhere_else(field_lead: Person) -> None:
    _, device = with_passkey(field_lead)
    client = browser()
    assertion = device.sign(challenge(client))
    answer = signed_in(client, assertion, next="https://example.org/")
    assert answer.headers["Location"] == "/"
    assert client.get(reverse("passkey-sign-in")).status_code == 302


def refused(client: Client, assertion: str) -> bool:
    answer = signed_in(client, assertion)
    return (
        answer.status_code == 400
        and "does not sign in here" in answer.text
        and who(client) is None
    )


def test_an_answer_signs_in_once(field_lead: Person) -> None:
    _, device = with_passkey(field_lead)
    client = browser()
    assertion = device.sign(challenge(client))
    signed_in(client, assertion)
    client.post(reverse("sign-out"))
    assert refused(client, assertion)


def test_a_challenge_read_twice_at_once_is_taken_once(field_lead: Person) -> None:
    _, device = with_passkey(field_lead)
    client = browser()
    assertion = device.sign(challenge(client))
    read = dict(client.session)
    assert not refused(client, assertion)
    other = browser()
    session = other.session
    session.update({passkeys.SIGNING: read[passkeys.SIGNING]})
    session.save()
    device.count = 10
    assert refused(other, assertion)


def test_a_challenge_is_of_one_session(field_lead: Person) -> None:
    _, device = with_passkey(field_lead)
    client = browser()
    challenge(client)
    assert refused(client, device.sign(challenge(browser())))
    assert refused(browser(), device.sign(challenge(browser())))


def test_a_challenge_ends_after_five_minutes(
    field_lead: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, device = with_passkey(field_lead)
    client = browser()
    assertion = device.sign(challenge(client))
    later = time.time() + passkeys.ALIVE_S + 1
    monkeypatch.setattr(time, "time", lambda: later)
    assert refused(client, assertion)


def test_the_challenge_of_somebody_signed_in_signs_nobody_in(
    field_lead: Person,
) -> None:
    client, device = with_passkey(field_lead)
    options = challenge(client)
    assert len(options["allowCredentials"]) == 1
    kept = client.session[passkeys.SIGNING]
    other = browser()
    session = other.session
    session[passkeys.SIGNING] = kept
    session.save()
    assert refused(other, device.sign(options))


@pytest.mark.parametrize(
    "wrong",
    [
        {"origin": "http://localhost:9000"},
        {"origin": "https://localhost"},
        {"rp_id": "elsewhere.example.org"},
        {"flags": PRESENT},
        {"flags": ATTESTED},
        {"handle": b"1000000"},
        {"key_id": b"another"},
        {"key": Authenticator().key},
        {"count": -1},  # 0 is signed, after 1 was
    ],
)
def test_what_does_not_hold_signs_nobody_in(
    wrong: dict[str, Any], field_lead: Person
) -> None:
    _, device = with_passkey(field_lead)
    client = browser()
    signed_in(client, device.sign(challenge(client)))
    client.post(reverse("sign-out"))
    for name, value in wrong.items():
        setattr(device, name, value)
    assert refused(client, device.sign(challenge(client)))
    assert Passkey.objects.get().sign_count == 1


@pytest.mark.parametrize("sent", ["", " ", "no JSON", "[]", "{}", "[" * 9000, "\0"])
def test_what_is_no_assertion_signs_nobody_in(sent: str, field_lead: Person) -> None:
    client = browser()
    challenge(client)
    assert refused(client, sent)


def test_a_device_that_does_not_count_signs_in_again_and_again(
    field_lead: Person,
) -> None:
    _, device = with_passkey(field_lead)
    for _ in range(2):
        device.count = -1
        client = browser()
        signed_in(client, device.sign(challenge(client)))
        assert who(client) == str(field_lead.pk)


def test_a_closed_account_and_a_removed_key_sign_nobody_in(
    field_lead: Person, engineer: Person
) -> None:
    _, closed = with_passkey(field_lead)
    Person.objects.filter(pk=field_lead.pk).update(is_active=False)
    client, removed = with_passkey(engineer)
    key = Passkey.objects.of(engineer).get()
    assert taken_back(client, key, password=PASSWORD).status_code == 302
    for device in (closed, removed):
        visitor = browser()
        assert refused(visitor, device.sign(challenge(visitor)))


def test_ten_refusals_lock_the_name_for_passkeys_and_passwords(
    field_lead: Person,
) -> None:
    _, device = with_passkey(field_lead)
    forger = Authenticator(key_id=device.key_id, handle=device.handle)
    client = browser()
    codes = []
    for _ in range(10):
        codes.append(signed_in(client, forger.sign(challenge(client))).status_code)
    assert codes == [400] * 9 + [429]
    locked = signed_in(client, device.sign(challenge(client)))
    assert locked.status_code == 429
    entry = {"username": field_lead.username, "password": PASSWORD}
    assert client.post(reverse("sign-in"), entry).status_code == 429
    assert who(client) is None
    attempt = AccessAttempt.objects.get()
    assert attempt.username == field_lead.username
    assert "authenticatorData" not in attempt.post_data


def test_guessing_at_keys_nobody_has_locks_nobody_out(field_lead: Person) -> None:
    _, device = with_passkey(field_lead)
    client = browser()
    for _ in range(10):
        signed_in(client, Authenticator().sign(challenge(client)))
    signed_in(client, device.sign(challenge(client)))
    assert who(client) == str(field_lead.pk)


def test_one_place_is_given_three_hundred_challenges_an_hour() -> None:
    client = Client(headers={"host": "localhost:8000"})
    address = reverse("passkey-challenge")
    codes = [client.post(address).status_code for _ in range(301)]
    assert codes == [200] * 300 + [429]


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
    found = passkeys.place_of(request)
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
    assert "This address has none" in page
    assert 'name="password"' not in page
    settings.PUBLIC_URL = "https://pad.example.org"
    page = client.get(reverse("passkeys")).text
    assert "Passkeys are added at https://pad.example.org." in page
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
    assert "for localhost" in client.get(reverse("passkeys"), secure=True).text


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
    assert "None yet" in client.get(reverse("passkeys")).text
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
    assert "another passkey than the one you remove" in same.text
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
