"""Devices with their sessions: recording their use, and ending them.

A session key signs in everybody who holds it, so that only its SHA-256 is stored
outside the session table. API tokens (knox) end here together with the sessions.
"""

import hashlib
from typing import Any

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.base import SessionBase
from django.contrib.sessions.models import Session
from django.core.cache import caches
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils.module_loading import import_string
from django.utils.timezone import now
from knox.models import AuthToken

from core.models import Device, Person, SessionHash

USE_RECORD_INTERVAL_S = 300  # resolution of `last_seen_at`
BROWSERS = (
    # The first match counts: most browsers also name those they descend from.
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser/", "Samsung browser"),
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("CriOS/", "Chrome"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
)
SYSTEMS = (
    ("Android", "Android"),
    ("iPhone", "iOS"),
    ("iPad", "iPadOS"),
    ("Windows", "Windows"),
    ("CrOS", "ChromeOS"),
    ("Macintosh", "macOS"),
    ("Linux", "Linux"),
)


def describe_user_agent(user_agent: str) -> str:
    """Describe a device by browser and system, and nothing finer."""
    browser = next((name for mark, name in BROWSERS if mark in user_agent), "")
    system = next((name for mark, name in SYSTEMS if mark in user_agent), "")
    if browser and system:
        return f"{browser} on {system}"
    return browser or system or "unknown browser"


def hash_session_key(session_key: str) -> str:
    """Return the SHA-256 of a session key."""
    return hashlib.sha256(session_key.encode()).hexdigest()


def record_device_use(request: HttpRequest) -> None:
    """Record the use of a device, at most every few minutes, in one statement.

    A request that did not use its session is left alone.
    """
    session: SessionBase | None = getattr(request, "session", None)
    if session is None or not session.accessed or not session.session_key:
        return
    person = request.user
    if not isinstance(person, Person):
        return
    hashed = hash_session_key(session.session_key)
    if not caches["devices"].add(hashed, value=True, timeout=USE_RECORD_INTERVAL_S):
        return
    moment = now()
    device = Device(
        person_id=person.pk,
        session_hash=hashed,
        family=describe_user_agent(request.headers.get("User-Agent", "")),
        first_seen_at=moment,
        last_seen_at=moment,
    )
    Device.objects.bulk_create(
        [device],
        update_conflicts=True,
        unique_fields=["session_hash"],
        update_fields=["last_seen_at"],
    )


def record_sign_out(session_key: str | None) -> None:
    """Record that a person signed out on the device itself."""
    if session_key:
        ended = Device.objects.filter(
            session_hash=hash_session_key(session_key), ended_at=None
        )
        ended.update(ended_at=now())


@transaction.atomic
def end_device_session(*, actor: Person, device: Device) -> None:
    """End the session of one of the actor's own devices."""
    _end_sessions(Device.objects.of(actor).filter(pk=device.pk))


@transaction.atomic
def end_other_sessions(*, actor: Person, session_key: str | None) -> int:
    """End the actor's other sessions; return how many there were."""
    others = Device.objects.of(actor).exclude(
        session_hash=hash_session_key(session_key or "")
    )
    return _end_sessions(others)


@transaction.atomic
def rotate_session_key(
    *, actor: Person, before: str | None, session_key: str | None
) -> None:
    """Move a device to its new session key, and end all other sessions.

    Django ends the other sessions itself on a new password; this updates the devices.
    """
    if before and session_key and before != session_key:
        here = Device.objects.of(actor).filter(session_hash=hash_session_key(before))
        here.update(session_hash=hash_session_key(session_key))
    end_other_sessions(actor=actor, session_key=session_key)


@transaction.atomic
def end_all_access(person: Person) -> tuple[int, int]:
    """End every session and token of a person; return how many of each.

    A session without a device (never used since devices are recorded) is found by its
    content.
    """
    sessions = _end_sessions(Device.objects.of(person)) + _end_untracked_sessions(
        person
    )
    tokens = AuthToken.objects.filter(user=person)
    count = tokens.count()
    tokens.delete()
    return sessions, count


def _end_sessions(devices: QuerySet[Device]) -> int:
    alive = devices.filter(ended_at=None)
    hashes = list(alive.values_list("session_hash", flat=True))
    ended, _ = _active_sessions().filter(hash__in=hashes).delete()
    alive.update(ended_at=now())
    return ended


def _end_untracked_sessions(person: Person) -> int:
    known = Device.objects.values("session_hash")
    theirs = [
        session.pk
        for session in _active_sessions().exclude(hash__in=known).iterator()
        if session.get_decoded().get(SESSION_KEY) == str(person.pk)
    ]
    ended, _ = Session.objects.filter(pk__in=theirs).delete()
    return ended


def _active_sessions() -> QuerySet[Any]:
    alive = Session.objects.filter(expire_date__gt=now())
    return alive.annotate(hash=SessionHash("session_key"))


def delete_expired_sessions() -> None:
    """Delete expired sessions; their devices stay in the record."""
    store = import_string(f"{settings.SESSION_ENGINE}.SessionStore")
    store.clear_expired()
