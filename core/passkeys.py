"""Passkeys: how one is added, and how one signs (W3C Web Authentication, level 2).

The protocol's every check is the library's (`webauthn`). What is kept here is what it
leaves to a site: challenges, each for one session and one person, a few minutes, and
once; whose key it is; how far it has counted.
"""

import json
import secrets
import time
from dataclasses import dataclass
from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit

import structlog
import webauthn
from django.conf import settings
from django.contrib.auth.backends import ModelBackend
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.http import HttpRequest
from django.utils.timezone import now
from webauthn.helpers import (
    base64url_to_bytes,
    bytes_to_base64url,
    parse_authentication_credential_json,
    parse_registration_credential_json,
)
from webauthn.helpers.exceptions import WebAuthnException
from webauthn.helpers.structs import (
    AuthenticatorSelectionCriteria,
    AuthenticatorTransport,
    PublicKeyCredentialDescriptor,
    ResidentKeyRequirement,
    UserVerificationRequirement,
)

from core import rate_limits
from core.models import AccountEvent, Passkey, Person

CHALLENGE_TTL_S = 300  # a challenge, and a password given to add a passkey
USED_CHALLENGE_TTL_S = (
    24 * 3600
)  # that a challenge was taken; far longer than one is alive
MAX_PASSKEYS = 20  # of one person
SIGNING_SLOT = "passkey challenge"
REGISTRATION_SLOT = "passkey to add"
PARSE_ERRORS = (WebAuthnException, ValueError, KeyError, TypeError, RecursionError)

log = structlog.get_logger("padstone.passkeys")


@dataclass(frozen=True, slots=True)
class RelyingParty:
    """The address a passkey is bound to."""

    rp_id: str  # the host alone
    origin: str  # as the browser writes it into what is signed


def public_origin() -> RelyingParty | None:
    """Give the address of the house, where browsers let it have passkeys."""
    public = urlsplit(settings.PUBLIC_URL)
    if public.scheme != "https" or not _is_host_name(public.hostname or ""):
        return None
    return RelyingParty(public.hostname or "", f"https://{public.netloc}")


def relying_party_for(request: HttpRequest) -> RelyingParty | None:
    """Say for which address passkeys are made and used here; None where they cannot be.

    That is the address of the house (`PUBLIC_URL`), and localhost on any port, for the
    demo.
    """
    asked, known = request.get_host(), public_origin()
    if known is not None and known.origin == f"https://{asked}":
        return known
    if not request.is_secure() and urlsplit(f"//{asked}").hostname == "localhost":
        return RelyingParty("localhost", f"http://{asked}")
    return None


def _is_host_name(host: str) -> bool:
    """Whether a host has a name, not a number: a number has no passkeys."""
    try:
        ip_address(host)
    except ValueError:
        return bool(host) and not host.startswith(".")
    return False


# ---- challenges -------------------------------------------------------------


def _store_challenge(request: HttpRequest, slot: str, **kept: Any) -> bytes:
    """Keep a new challenge in this session, for whoever is signed in on it."""
    challenge = secrets.token_bytes(32)
    request.session[slot] = {
        "challenge": bytes_to_base64url(challenge),
        "person": request.user.pk,
        "until": time.time() + CHALLENGE_TTL_S,
        **kept,
    }
    return challenge


def _consume_challenge(request: HttpRequest, slot: str) -> dict[str, Any] | None:
    """Take what is kept in this session, once; None where it holds no more.

    Two requests at once may both read it from the session: only one is counted first.
    """
    kept: dict[str, Any] | None = request.session.pop(slot, None)
    if kept is None or kept["until"] < time.time():
        return None
    if kept["person"] != request.user.pk:
        return None
    named = f"passkey challenge {kept['challenge']}"
    if rate_limits.hit(named, window_s=USED_CHALLENGE_TTL_S).number > 1:
        return None
    return kept


# ---- signing ----------------------------------------------------------------


def create_signing_options(request: HttpRequest, place: RelyingParty) -> str:
    """Ask whoever is at this browser to sign; give it as JSON for the browser.

    Of somebody signed in their own passkeys are asked for, otherwise any.
    """
    keys = Passkey.objects.none()
    if isinstance(request.user, Person):
        keys = Passkey.objects.of(request.user).filter(rp_id=place.rp_id)
    options = webauthn.generate_authentication_options(
        rp_id=place.rp_id,
        challenge=_store_challenge(request, SIGNING_SLOT),
        timeout=CHALLENGE_TTL_S * 1000,
        allow_credentials=[_describe_credential(key) for key in keys],
        user_verification=UserVerificationRequirement.REQUIRED,
    )
    return webauthn.options_to_json(options)


def has_passkey_here(request: HttpRequest, but: Passkey | None = None) -> bool:
    """Whether somebody signed in has a passkey for this address, beside one.

    Asked once for all the forms of a page.
    """
    kept = vars(request)
    if "_passkeys_here" not in kept:
        place, person = relying_party_for(request), request.user
        mine = Passkey.objects.none()
        if place and isinstance(person, Person):
            mine = Passkey.objects.of(person).filter(rp_id=place.rp_id)
        kept["_passkeys_here"] = set(mine.values_list("pk", flat=True))
    return bool(kept["_passkeys_here"] - {but.pk if but else None})


def find_passkey(assertion: str) -> Passkey | None:
    """Find the passkey that an assertion says it is of; nothing is verified by it."""
    try:
        named = base64url_to_bytes(json.loads(assertion)["id"])
    except PARSE_ERRORS:
        return None
    known = Passkey.objects.filter(removed_at=None).select_related("person")
    return known.filter(credential_id=named).first()


class PasskeyBackend(ModelBackend):
    """Signs in whoever answers this session's challenge with a passkey of theirs."""

    def authenticate(  # type: ignore[override]
        self,
        request: HttpRequest | None,
        username: str | None = None,
        assertion: str | None = None,
    ) -> Person | None:
        """Verify an assertion; the user name is what failures are counted for."""
        if request is None or not assertion:
            return None
        kept, place = (
            _consume_challenge(request, SIGNING_SLOT),
            relying_party_for(request),
        )
        if kept is None or place is None:
            log.info("passkey refused", why="no challenge of this session")
            return None
        try:
            found = _verify_assertion(assertion, kept, place)
        except PARSE_ERRORS as error:
            log.info("passkey refused", why=str(error))
            return None
        mine = found is not None and found.get_username() == username
        return found if mine and self.user_can_authenticate(found) else None


@transaction.atomic
def _verify_assertion(
    assertion: str, kept: dict[str, Any], place: RelyingParty
) -> Person | None:
    """Verify an assertion against the key it names, and count its use.

    Raises
    ------
    WebAuthnException, ValueError
        With what is wrong.
    """
    given = parse_authentication_credential_json(assertion)
    held = Passkey.objects.select_for_update(of=("self",)).select_related("person")
    key = held.filter(credential_id=given.raw_id, rp_id=place.rp_id).first()
    if key is None or key.removed_at is not None:
        raise ValueError("not a passkey known here")
    if kept["person"] not in (None, key.person_id):
        raise ValueError("another person's passkey")
    handle = given.response.user_handle
    if handle is not None and handle != _user_handle(key.person):
        raise ValueError("another person's handle")
    done = webauthn.verify_authentication_response(
        credential=given,
        expected_challenge=base64url_to_bytes(kept["challenge"]),
        expected_rp_id=place.rp_id,
        expected_origin=place.origin,
        credential_public_key=bytes(key.public_key),
        credential_current_sign_count=key.sign_count,
        require_user_verification=True,
    )
    key.sign_count, key.last_used_at = done.new_sign_count, now()
    key.save(update_fields=["sign_count", "last_used_at"])
    return key.person


def _describe_credential(key: Passkey) -> PublicKeyCredentialDescriptor:
    ways = [AuthenticatorTransport(way) for way in key.transports]
    return PublicKeyCredentialDescriptor(bytes(key.credential_id), transports=ways)


def _user_handle(person: Person) -> bytes:
    """Give what a device keeps to tell accounts apart; it says nothing of a person."""
    return str(person.pk).encode()


# ---- adding and removing ----------------------------------------------------


def begin_registration(request: HttpRequest, name: str) -> None:
    """Note that this person may add a passkey: they gave their signature just now."""
    _store_challenge(request, REGISTRATION_SLOT, name=name)


def create_registration_options(
    request: HttpRequest, place: RelyingParty
) -> tuple[str, str] | None:
    """Give the name of the passkey being added, and what to ask the browser, as JSON.

    None where nobody gave their signature for it in the last minutes.
    """
    kept = request.session.get(REGISTRATION_SLOT)
    person = request.user
    if kept is None or kept["until"] < time.time() or kept["person"] != person.pk:
        return None
    assert isinstance(person, Person)  # noqa: S101  # nobody else is given a challenge
    options = webauthn.generate_registration_options(
        rp_id=place.rp_id,
        rp_name="Padstone",
        user_id=_user_handle(person),
        user_name=person.get_username(),
        user_display_name=str(person),
        challenge=base64url_to_bytes(kept["challenge"]),
        timeout=CHALLENGE_TTL_S * 1000,
        authenticator_selection=AuthenticatorSelectionCriteria(
            resident_key=ResidentKeyRequirement.REQUIRED,
            user_verification=UserVerificationRequirement.REQUIRED,
        ),
        exclude_credentials=[
            _describe_credential(key)
            for key in Passkey.objects.of(person).filter(rp_id=place.rp_id)
        ],
    )
    return str(kept["name"]), webauthn.options_to_json(options)


def register_passkey(
    *, actor: Person, request: HttpRequest, place: RelyingParty, made: str
) -> Passkey:
    """Keep the passkey that this person's browser made.

    Parameters
    ----------
    actor : whose it is.
    request : of the session that asked for it.
    place : the address it is for.
    made : what the browser answered, as JSON.

    Raises
    ------
    ValidationError
        If it was not asked for just now, does not hold, or is known already.
    """
    kept = _consume_challenge(request, REGISTRATION_SLOT)
    if kept is None:
        raise ValidationError("That took too long: begin again.")
    try:
        done = webauthn.verify_registration_response(
            credential=made,
            expected_challenge=base64url_to_bytes(kept["challenge"]),
            expected_rp_id=place.rp_id,
            expected_origin=place.origin,
            require_user_verification=True,
        )
        ways = parse_registration_credential_json(made)
    except PARSE_ERRORS as error:
        log.info("passkey not added", why=str(error))
        raise ValidationError("This passkey could not be added: begin again.") from None
    try:
        with transaction.atomic():
            key = Passkey.objects.create(
                person=actor,
                name=kept["name"],
                credential_id=done.credential_id,
                public_key=done.credential_public_key,
                sign_count=done.sign_count,
                transports=[way.value for way in ways.response.transports or ()],
                rp_id=place.rp_id,
                added_at=now(),
            )
            _record_account_event(key, AccountEvent.Kind.PASSKEY_ADDED)
    except IntegrityError:
        msg = "This passkey, or one of this name, is there already."
        raise ValidationError(msg) from None
    return key


@transaction.atomic
def remove_passkey(*, actor: Person, key: Passkey) -> None:
    """Refuse one of the actor's own passkeys from now on."""
    held = Passkey.objects.of(actor).select_for_update().filter(pk=key.pk)
    if held.update(removed_at=now()):
        _record_account_event(key, AccountEvent.Kind.PASSKEY_REMOVED)


def _record_account_event(key: Passkey, kind: AccountEvent.Kind) -> None:
    AccountEvent.objects.create(
        person=key.person, kind=kind, by=key.person, note=key.name
    )
