"""Passkeys: registration and signing (W3C Web Authentication, level 2).

The library `webauthn` makes every check of the protocol. This module does what the
library leaves to a site: single-use challenges bound to session and user (5 min), key
ownership, and the sign counter.
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

CHALLENGE_TTL_S = 300  # of a challenge, and of a signature given to add a passkey
USED_CHALLENGE_TTL_S = 24 * 3600  # longer than any challenge lives
MAX_PASSKEYS = 20  # per person
SIGNING_SLOT = "passkey challenge"
REGISTRATION_SLOT = "passkey to add"
PARSE_ERRORS = (WebAuthnException, ValueError, KeyError, TypeError, RecursionError)

log = structlog.get_logger("padstone.passkeys")


@dataclass(frozen=True, slots=True)
class RelyingParty:
    """The host and origin that a passkey is bound to (WebAuthn: relying party)."""

    rp_id: str  # host name without the port
    origin: str  # as the browser writes it into the signed data


def public_origin() -> RelyingParty | None:
    """Return the party of `PUBLIC_URL`; None where browsers allow no passkeys."""
    public = urlsplit(settings.PUBLIC_URL)
    if public.scheme != "https" or not _is_host_name(public.hostname or ""):
        return None
    return RelyingParty(public.hostname or "", f"https://{public.netloc}")


def relying_party_for(request: HttpRequest) -> RelyingParty | None:
    """Return the party of a request's address; None where there are no passkeys.

    Passkeys work at `PUBLIC_URL`, and on any port of localhost for the demo.
    """
    host, public = request.get_host(), public_origin()
    if public is not None and public.origin == f"https://{host}":
        return public
    if not request.is_secure() and urlsplit(f"//{host}").hostname == "localhost":
        return RelyingParty("localhost", f"http://{host}")
    return None


def _is_host_name(host: str) -> bool:
    """Return whether a host is a name: an IP address has no passkeys."""
    try:
        ip_address(host)
    except ValueError:
        return bool(host) and not host.startswith(".")
    return False


# ---- challenges -------------------------------------------------------------


def _store_challenge(request: HttpRequest, slot: str, **stored: Any) -> bytes:
    """Store a new challenge in the session, for the user who is signed in on it."""
    challenge = secrets.token_bytes(32)
    request.session[slot] = {
        "challenge": bytes_to_base64url(challenge),
        "person": request.user.pk,
        "until": time.time() + CHALLENGE_TTL_S,
        **stored,
    }
    return challenge


def _consume_challenge(request: HttpRequest, slot: str) -> dict[str, Any] | None:
    """Consume the challenge of this session; None if it is expired or used.

    Two simultaneous requests may both read it from the session; the shared counter
    lets only the first one pass.
    """
    stored: dict[str, Any] | None = request.session.pop(slot, None)
    if stored is None or stored["until"] < time.time():
        return None
    if stored["person"] != request.user.pk:
        return None
    named = f"passkey challenge {stored['challenge']}"
    if rate_limits.hit(named, window_s=USED_CHALLENGE_TTL_S).count > 1:
        return None
    return stored


# ---- signing ----------------------------------------------------------------


def create_signing_options(request: HttpRequest, party: RelyingParty) -> str:
    """Create the request to sign, as JSON for the browser.

    A user who is signed in is asked for one of their own passkeys, a visitor for any.
    """
    keys = Passkey.objects.none()
    if isinstance(request.user, Person):
        keys = Passkey.objects.of(request.user).filter(rp_id=party.rp_id)
    options = webauthn.generate_authentication_options(
        rp_id=party.rp_id,
        challenge=_store_challenge(request, SIGNING_SLOT),
        timeout=CHALLENGE_TTL_S * 1000,
        allow_credentials=[_describe_credential(key) for key in keys],
        user_verification=UserVerificationRequirement.REQUIRED,
    )
    return webauthn.options_to_json(options)


def has_passkey_here(request: HttpRequest, but: Passkey | None = None) -> bool:
    """Return whether the user has a passkey for this address, other than `but`.

    The query runs once for all forms of a page.
    """
    cache = vars(request)
    if "_passkeys_here" not in cache:
        party, person = relying_party_for(request), request.user
        mine = Passkey.objects.none()
        if party and isinstance(person, Person):
            mine = Passkey.objects.of(person).filter(rp_id=party.rp_id)
        cache["_passkeys_here"] = set(mine.values_list("pk", flat=True))
    return bool(cache["_passkeys_here"] - {but.pk if but else None})


def find_passkey(assertion: str) -> Passkey | None:
    """Find the passkey that an assertion names, without verifying it."""
    try:
        named = base64url_to_bytes(json.loads(assertion)["id"])
    except PARSE_ERRORS:
        return None
    known = Passkey.objects.filter(removed_at=None).select_related("person")
    return known.filter(credential_id=named).first()


class PasskeyBackend(ModelBackend):
    """Authenticates a user by a passkey that signed this session's challenge."""

    def authenticate(  # type: ignore[override]
        self,
        request: HttpRequest | None,
        username: str | None = None,
        assertion: str | None = None,
    ) -> Person | None:
        """Verify an assertion; failures are counted for the user name."""
        if request is None or not assertion:
            return None
        stored, party = (
            _consume_challenge(request, SIGNING_SLOT),
            relying_party_for(request),
        )
        if stored is None or party is None:
            log.info("passkey refused", why="no challenge of this session")
            return None
        try:
            found = _verify_assertion(assertion, stored, party)
        except PARSE_ERRORS as error:
            log.info("passkey refused", why=str(error))
            return None
        mine = found is not None and found.get_username() == username
        return found if mine and self.user_can_authenticate(found) else None


@transaction.atomic
def _verify_assertion(
    assertion: str, stored: dict[str, Any], party: RelyingParty
) -> Person | None:
    """Verify an assertion against the key that it names, and store the sign count.

    Raises
    ------
    WebAuthnException, ValueError
        With the reason of the refusal.
    """
    given = parse_authentication_credential_json(assertion)
    held = Passkey.objects.select_for_update(of=("self",)).select_related("person")
    key = held.filter(credential_id=given.raw_id, rp_id=party.rp_id).first()
    if key is None or key.removed_at is not None:
        raise ValueError("not a passkey known here")
    if stored["person"] not in (None, key.person_id):
        raise ValueError("another person's passkey")
    handle = given.response.user_handle
    if handle is not None and handle != _user_handle(key.person):
        raise ValueError("another person's handle")
    done = webauthn.verify_authentication_response(
        credential=given,
        expected_challenge=base64url_to_bytes(stored["challenge"]),
        expected_rp_id=party.rp_id,
        expected_origin=party.origin,
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
    """Return the user handle that a device stores; it reveals nothing of the person."""
    return str(person.pk).encode()


# ---- adding and removing ----------------------------------------------------


def begin_registration(request: HttpRequest, name: str) -> None:
    """Store that this user may add a passkey: they have just signed for it."""
    _store_challenge(request, REGISTRATION_SLOT, name=name)


def create_registration_options(
    request: HttpRequest, party: RelyingParty
) -> tuple[str, str] | None:
    """Return the name of the new passkey, and the options for the browser as JSON.

    None unless the user signed for it in the last minutes.
    """
    stored = request.session.get(REGISTRATION_SLOT)
    person = request.user
    if stored is None or stored["until"] < time.time() or stored["person"] != person.pk:
        return None
    assert isinstance(person, Person)  # noqa: S101  # nobody else is given a challenge
    options = webauthn.generate_registration_options(
        rp_id=party.rp_id,
        rp_name="Padstone",
        user_id=_user_handle(person),
        user_name=person.get_username(),
        user_display_name=str(person),
        challenge=base64url_to_bytes(stored["challenge"]),
        timeout=CHALLENGE_TTL_S * 1000,
        authenticator_selection=AuthenticatorSelectionCriteria(
            resident_key=ResidentKeyRequirement.REQUIRED,
            user_verification=UserVerificationRequirement.REQUIRED,
        ),
        exclude_credentials=[
            _describe_credential(key)
            for key in Passkey.objects.of(person).filter(rp_id=party.rp_id)
        ],
    )
    return str(stored["name"]), webauthn.options_to_json(options)


def register_passkey(
    *, actor: Person, request: HttpRequest, party: RelyingParty, credential: str
) -> Passkey:
    """Register the passkey that the user's browser created.

    Parameters
    ----------
    actor : the owner.
    request : of the session that started the registration.
    party : the address that it is for.
    credential : the answer of the browser, as JSON.

    Raises
    ------
    ValidationError
        If it was not started just now, is not valid, or exists already.
    """
    stored = _consume_challenge(request, REGISTRATION_SLOT)
    if stored is None:
        raise ValidationError("That took too long. Start again.", code="expired")
    try:
        done = webauthn.verify_registration_response(
            credential=credential,
            expected_challenge=base64url_to_bytes(stored["challenge"]),
            expected_rp_id=party.rp_id,
            expected_origin=party.origin,
            require_user_verification=True,
        )
        ways = parse_registration_credential_json(credential)
    except PARSE_ERRORS as error:
        log.info("passkey not added", why=str(error))
        msg = "This passkey could not be added. Start again."
        raise ValidationError(msg, code="invalid") from None
    try:
        with transaction.atomic():
            key = Passkey.objects.create(
                person=actor,
                name=stored["name"],
                credential_id=done.credential_id,
                public_key=done.credential_public_key,
                sign_count=done.sign_count,
                transports=[way.value for way in ways.response.transports or ()],
                rp_id=party.rp_id,
                added_at=now(),
            )
            _record_account_event(key, AccountEvent.Kind.PASSKEY_ADDED)
    except IntegrityError:
        msg = "This passkey, or one with this name, exists already."
        raise ValidationError(msg, code="exists") from None
    return key


@transaction.atomic
def remove_passkey(*, actor: Person, key: Passkey) -> None:
    """Remove one of the actor's own passkeys."""
    held = Passkey.objects.of(actor).select_for_update().filter(pk=key.pk)
    if held.update(removed_at=now()):
        _record_account_event(key, AccountEvent.Kind.PASSKEY_REMOVED)


def _record_account_event(key: Passkey, kind: AccountEvent.Kind) -> None:
    AccountEvent.objects.create(
        person=key.person, kind=kind, by=key.person, note=key.name
    )
