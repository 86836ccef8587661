"""Signatures with a passkey: decisions, requests, bulk decisions, releases."""

import re
import time
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from checks.models import Decision, Finding, Release
from checks.services.releases import find_verified_release, sign_release
from core import passkeys
from core.models import Passkey, Person
from jobs.models import Building
from tests.checks.conftest import Measure, as_planned, entry
from tests.checks.decided_findings import index_of, order
from tests.core.passkey_client import browser, challenge, with_passkey
from tests.factories import PASSWORD
from tests.software_authenticator import PRESENT, Authenticator

pytestmark = pytest.mark.django_db
FIELDS = [
    "finding",
    "remedy",
    "disposition",
    "note",
    "snapshot",
    "digest",
    "evaluation",
    "engineer",
]
OFFER = "Sign with a passkey"


def order_of(finding: Finding, **signature: str) -> dict[str, Any]:
    return {
        "choice": str(index_of(finding, "shim")),
        "disposition": "rework",
        "note": "Shim it.",
        **signature,
    }


def post_decision(client: Client, finding: Finding, **signature: str) -> Any:
    given = order_of(finding, **signature)
    return client.post(reverse("checks:decide", args=[finding.pk]), given)


def refused(client: Client, finding: Finding, assertion: str) -> bool:
    answer = post_decision(client, finding, assertion=assertion)
    return (
        answer.status_code == 400
        and "This passkey is not valid here" in answer.text
        and assertion not in answer.text
        and not Decision.objects.exists()
    )


def test_a_decision_is_signed_with_a_passkey(
    low_pad: Finding, engineer: Person
) -> None:
    client, device = with_passkey(engineer)
    options = challenge(client)
    assert [key["type"] for key in options["allowCredentials"]] == ["public-key"]
    assert (
        post_decision(client, low_pad, assertion=device.sign(options)).status_code
        == 302
    )
    made = Decision.objects.get()
    assert (made.engineer, made.signed_with) == (engineer, "passkey")
    page = client.get(reverse("checks:finding", args=[low_pad.pk])).text
    assert "signed with the passkey" in " ".join(page.split())
    key = Passkey.objects.get()
    assert key.sign_count == 1
    assert key.last_used_at is not None


def test_measuring_again_is_asked_for_with_a_passkey(
    low_pad: Finding, engineer: Person
) -> None:
    client, device = with_passkey(engineer)
    given = {"note": "Once more.", "assertion": device.sign(challenge(client))}
    address = reverse("checks:request_remeasurement", args=[low_pad.pk])
    assert client.post(address, given).status_code == 302


def test_several_are_decided_on_with_one_passkey(
    building: Building, measure: Measure, engineer: Person
) -> None:
    marks = {"S1": 1000, "S2": 1010, "S3": 1010}
    measure(*(entry(f"level:{mark}", f"{mm} mm") for mark, mm in marks.items()))
    first, second = Finding.objects.order_by("pk")
    client, device = with_passkey(engineer)
    address = reverse("checks:bulk_decision", args=[first.pk])
    page = client.get(address).text
    assert OFFER in page
    assert page.count('name="assertion"') == 1
    given = {
        **order_of(first, assertion=device.sign(challenge(client))),
        "choice": "shim",
        "findings": [first.pk, second.pk],
    }
    assert client.post(address, given).status_code == 302
    signed_with = Decision.objects.values_list("signed_with", flat=True)
    assert list(signed_with) == ["passkey", "passkey"]


def test_a_release_is_signed_with_a_passkey(
    building: Building, operations: Person, measure: Measure
) -> None:
    measure(*as_planned(building, "foundation", "verification"))
    client, device = with_passkey(operations)
    address = reverse("checks:sign_release", args=[building.pk, "ship"])
    assert OFFER in client.get(address).text
    given = {"assertion": device.sign(challenge(client))}
    assert client.post(address, given).status_code == 302
    release = Release.objects.get()
    assert release.signed_by == operations
    assert release.record["signed_with"] == "passkey"
    assert find_verified_release(release.digest) == release
    page = client.get(release.get_absolute_url()).text
    assert re.search(r"<dt>Signed with</dt>\s*<dd>\s*the passkey\s*</dd>", page)


def test_a_password_is_told_as_one(low_pad: Finding, engineer: Person) -> None:
    client = browser(engineer)
    assert post_decision(client, low_pad, password=PASSWORD).status_code == 302
    assert Decision.objects.get().signed_with == "password"
    page = client.get(reverse("checks:finding", args=[low_pad.pk])).text
    assert "signed with the password" in " ".join(page.split())


def test_what_was_signed_with_is_left_out_where_it_is_not_known(
    building: Building, operations: Person, engineer: Person, measure: Measure
) -> None:
    low = "level:S2"
    measure(*as_planned(building, "foundation", "verification", **{low: "1006 mm"}))
    finding = Finding.objects.get(topic=low)
    made = order(finding, engineer)
    assert made.signed_with == ""
    before = sign_release(actor=operations, building=building, kind="pour")
    assert "signed_with" not in before.record
    assert find_verified_release(before.digest) == before
    page = browser(operations).get(before.get_absolute_url()).text
    assert "Signed with" not in page
    with pytest.raises(IntegrityError, match="signed_with"), transaction.atomic():
        Decision.objects.create(
            **{
                **{name: getattr(made, name) for name in FIELDS},
                "signed_with": "a pen",
            }
        )


def test_the_offer_is_made_to_who_has_one_where_there_are_any(
    low_pad: Finding, engineer: Person, operations: Person
) -> None:
    address = reverse("checks:finding", args=[low_pad.pk])
    assert OFFER not in browser(engineer).get(address).text
    client, _ = with_passkey(engineer)
    page = client.get(address).text
    assert page.count(OFFER) == 2  # to decide, and to ask
    assert page.count('name="assertion"') == 2
    assert OFFER not in browser(operations).get(address).text
    elsewhere = Client()
    elsewhere.force_login(engineer)
    assert OFFER not in elsewhere.get(address).text


def test_an_answer_signs_once(low_pad: Finding, engineer: Person) -> None:
    client, device = with_passkey(engineer)
    assertion = device.sign(challenge(client))
    asked = {"note": "Once more.", "assertion": assertion}
    client.post(reverse("checks:request_remeasurement", args=[low_pad.pk]), asked)
    assert refused(client, low_pad, assertion)


def test_an_answer_that_came_late_signs_nothing(
    low_pad: Finding, engineer: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    client, device = with_passkey(engineer)
    assertion = device.sign(challenge(client))
    later = time.time() + passkeys.CHALLENGE_TTL_S + 1
    monkeypatch.setattr(time, "time", lambda: later)
    assert refused(client, low_pad, assertion)


def test_another_persons_passkey_signs_nothing(
    low_pad: Finding, engineer: Person, operations: Person
) -> None:
    _, theirs = with_passkey(operations)
    client, _ = with_passkey(engineer)
    assert refused(client, low_pad, theirs.sign(challenge(client)))


def test_the_challenge_of_another_session_signs_nothing(
    low_pad: Finding, engineer: Person
) -> None:
    client, device = with_passkey(engineer)
    assert refused(client, low_pad, device.sign(challenge(browser(engineer))))


@pytest.mark.parametrize(
    "wrong",
    [
        {"origin": "https://elsewhere.example.org"},
        {"rp_id": "elsewhere.example.org"},
        {"flags": PRESENT},
        {"key": Authenticator().key},
        {"count": 0},  # 1 is signed, after 1 was
    ],
)
def test_what_does_not_hold_signs_nothing(
    wrong: dict[str, Any], low_pad: Finding, engineer: Person
) -> None:
    client, device = with_passkey(engineer)
    asked = {"note": "", "assertion": device.sign(challenge(client))}
    client.post(reverse("checks:request_remeasurement", args=[low_pad.pk]), asked)
    assert Passkey.objects.get().sign_count == 1
    for name, value in wrong.items():
        setattr(device, name, value)
    assert refused(client, low_pad, device.sign(challenge(client)))


def test_a_removed_passkey_signs_nothing(low_pad: Finding, engineer: Person) -> None:
    client, device = with_passkey(engineer)
    assertion = device.sign(challenge(client))
    key = Passkey.objects.get()
    client.post(reverse("remove-passkey", args=[key.pk]), {"password": PASSWORD})
    assert refused(client, low_pad, assertion)


@pytest.mark.parametrize(
    "neither",
    [
        {},
        {"password": ""},
        {"assertion": ""},
        {"assertion": "  "},
        {"assertion": "\0"},
        {"assertion": "x" * 20_001},
        {"assertion": "x", "password": PASSWORD},
    ],
)
def test_nothing_is_signed_with_neither(
    neither: dict[str, str], low_pad: Finding, engineer: Person
) -> None:
    client, _ = with_passkey(engineer)
    assert post_decision(client, low_pad, **neither).status_code == 400
    assert not Decision.objects.exists()


def test_ten_refusals_lock_signing_too(low_pad: Finding, engineer: Person) -> None:
    client, device = with_passkey(engineer)
    forger = Authenticator(key_id=device.key_id, handle=device.handle)
    codes = [
        post_decision(
            client, low_pad, assertion=forger.sign(challenge(client))
        ).status_code
        for _ in range(10)
    ]
    assert codes == [400] * 9 + [429]
    last = post_decision(client, low_pad, assertion=device.sign(challenge(client)))
    assert last.status_code == 429
    assert not Decision.objects.exists()


def test_the_password_stays_a_field_to_fill_in_after_a_refusal(
    low_pad: Finding, engineer: Person
) -> None:
    client, _ = with_passkey(engineer)
    page = post_decision(client, low_pad, assertion="x").text
    assert "Your password, as signature" in page
    before = page.split('name="password"')[0]
    assert not before.rsplit('<div class="field', 1)[1].startswith(" optional")
