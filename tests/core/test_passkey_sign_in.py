"""Signing in with a passkey; and everything that signs nobody in."""

import time
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.test import Client
from django.urls import reverse

from core import passkeys
from core.models import Device, Passkey, Person
from jobs.models import Job
from tests.core.passkey_client import browser, challenge, with_passkey
from tests.factories import PASSWORD
from tests.software_authenticator import ATTESTED, PRESENT, Authenticator

pytestmark = pytest.mark.django_db


def signed_in(client: Client, assertion: str, **more: str) -> Any:
    entry = {"assertion": assertion, **more}
    return client.post(reverse("passkey-sign-in"), entry)


def who(client: Client) -> str | None:
    return client.session.get("_auth_user_id")


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
        and "This passkey is not valid here" in answer.text
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
    session.update({passkeys.SIGNING_SLOT: read[passkeys.SIGNING_SLOT]})
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
    later = time.time() + passkeys.CHALLENGE_TTL_S + 1
    monkeypatch.setattr(time, "time", lambda: later)
    assert refused(client, assertion)


def test_the_challenge_of_somebody_signed_in_signs_nobody_in(
    field_lead: Person,
) -> None:
    client, device = with_passkey(field_lead)
    options = challenge(client)
    assert len(options["allowCredentials"]) == 1
    kept = client.session[passkeys.SIGNING_SLOT]
    other = browser()
    session = other.session
    session[passkeys.SIGNING_SLOT] = kept
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
    client.post(reverse("remove-passkey", args=[key.pk]), {"password": PASSWORD})
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
