"""Calendar feed of ship dates and strength forecasts as iCalendar (RFC 5545).

The feed has a secret address that needs no sign-in, so that calendar programs can read
it. Only its hash is stored, and it can be revoked. The feed holds what its owner may
see at the moment it is read.
"""

import hashlib
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import Q
from django.urls import reverse
from django.utils.http import http_date
from django.utils.timezone import localdate, now

from core.models import Person
from jobs.models import Building, Job
from jobs.notifications.emails import public_url
from jobs.notifications.models import CalendarDate, CalendarKey

if TYPE_CHECKING:
    from icalendar import Event, Timezone

PRODUCT_ID = "-//Padstone//Dates//EN"
PAST_DATE_RETENTION = timedelta(days=180)
CANCELLED_DATES_SHOWN = timedelta(days=90)
REFRESH_INTERVAL = timedelta(hours=1)
CalendarDateKind = CalendarDate.Kind


def update_ship_date(job: Job) -> None:
    """Update the calendar to a job's ship date. The caller holds the transaction."""
    key = {"kind": CalendarDateKind.SHIP, "job": job, "building": None}
    _update_date(job.ship_date, f"Ships: {job}", f"{job.customer}\n{job.site}", **key)


def update_strength_forecast(building: Building, day: date | None, note: str) -> None:
    """Update the calendar date of the day a strength gate is likely to open.

    Parameters
    ----------
    building : the building of the gate.
    day : the day; None where there is no forecast, or the gate is open.
    note : range of the forecast, and its caution.
    """
    likely = "Concrete likely strong enough"
    # Most buildings have no forecast: do not fetch the job for them.
    summary = "" if day is None else f"{likely}: {building.job.number} {building}"
    key = {
        "kind": CalendarDateKind.STRENGTH,
        "job_id": building.job_id,
        "building": building,
    }
    _update_date(day, summary, note, **key)


def _update_date(day: date | None, summary: str, note: str, **key: Any) -> None:
    # Locked: `sequence` must not skip or repeat a number.
    row = CalendarDate.objects.filter(**key).select_for_update().first()
    if row is None:
        if day is not None:
            values = {"day": day, "summary": summary, "note": note}
            CalendarDate.objects.get_or_create(**key, defaults=values)
        return
    before = (row.day, row.summary, row.note, row.cancelled)
    # A cancelled date keeps its day and text: RFC 5545 asks for the event as it was.
    row.cancelled = day is None
    if day is not None:
        row.day, row.summary, row.note = day, summary, note
    if before != (row.day, row.summary, row.note, row.cancelled):
        row.sequence += 1
        row.save()


@transaction.atomic
def create_calendar_key(*, actor: Person) -> str:
    """Create a new secret calendar address; the old one is revoked.

    Returns
    -------
    str : the URL, which is never shown again.
    """
    token = secrets.token_urlsafe(32)
    CalendarKey.objects.filter(person=actor).delete()
    CalendarKey.objects.create(person=actor, token_hash=_sha256_hex(token.encode()))
    return public_url(reverse("notifications:calendar", args=[token]))


@transaction.atomic
def revoke_calendar_key(*, actor: Person) -> None:
    """Revoke a person's calendar address."""
    CalendarKey.objects.filter(person=actor).delete()


def find_calendar_key(token: str) -> CalendarKey | None:
    """Find the key of an address; None if revoked, or the account is closed."""
    return (
        CalendarKey.objects.filter(
            token_hash=_sha256_hex(token.encode()), person__is_active=True
        )
        .select_related("person")
        .first()
    )


@dataclass(frozen=True, slots=True)
class CalendarFeed:
    """A rendered calendar with its HTTP validators."""

    body: bytes
    etag: str
    changed_at: datetime

    @property
    def last_modified(self) -> str:
        """Time of the last change, as an HTTP date."""
        return http_date(self.changed_at.timestamp())


def render_feed(key: CalendarKey) -> CalendarFeed:
    """Render a person's calendar and save the time of its last change.

    That time is not the latest `changed_at` of the dates: a person who is added to a
    job or removed from one sees other dates although none of them changed.
    """
    body = _render_calendar(_list_dates(key.person))
    body_hash = _sha256_hex(body)
    if body_hash != key.body_hash or key.body_changed_at is None:
        key.body_hash, key.body_changed_at = body_hash, now()
        key.save(update_fields=["body_hash", "body_changed_at"])
    return CalendarFeed(body, f'"{body_hash}"', key.body_changed_at)


def _list_dates(person: Person) -> Iterable[CalendarDate]:
    shown = Q(cancelled=False) | Q(changed_at__gt=now() - CANCELLED_DATES_SHOWN)
    return (
        CalendarDate.objects.filter(shown, day__gte=localdate() - PAST_DATE_RETENTION)
        .filter(job__in=Job.objects.visible_to(person))
        .select_related("job", "building")
        .order_by("day", "pk")
    )


def _render_calendar(dates: Iterable[CalendarDate]) -> bytes:
    from icalendar import Calendar  # slow to import, seldom needed

    calendar = Calendar()
    calendar.add("prodid", PRODUCT_ID)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", "Padstone")  # RFC 7986 section 5.1
    calendar.add(
        "refresh-interval", REFRESH_INTERVAL, {"value": "DURATION"}
    )  # section 5.7
    for row in dates:
        calendar.add_component(_render_event(row))
    if not calendar.subcomponents:
        calendar.add_component(_placeholder_component())
    return bytes(calendar.to_ical())


def _placeholder_component() -> "Timezone":
    """Return a placeholder component: RFC 5545 3.6 requires at least one."""
    from icalendar import Timezone, TimezoneStandard

    standard = TimezoneStandard()
    standard.add("dtstart", datetime(1970, 1, 1))  # noqa: DTZ001 - local by definition
    standard.add("tzoffsetfrom", timedelta(0))
    standard.add("tzoffsetto", timedelta(0))
    zone = Timezone()
    zone.add("tzid", "UTC")
    zone.add_component(standard)
    return zone


def _render_event(row: CalendarDate) -> "Event":
    """Render one date as an all-day, TRANSPARENT event.

    Without a METHOD, DTSTAMP is the time of the last change (section 3.8.7.2).
    """
    from icalendar import Event

    expected = "TENTATIVE" if row.kind == CalendarDateKind.STRENGTH else "CONFIRMED"
    page = (row.building or row.job).get_absolute_url()
    event = Event()
    event.add("uid", str(row.uid))
    event.add("dtstamp", row.changed_at)
    event.add("dtstart", row.day)
    event.add("summary", row.summary)
    event.add("description", row.note)
    event.add("location", row.job.site)
    event.add("url", public_url(page))
    event.add("status", "CANCELLED" if row.cancelled else expected)
    event.add("sequence", row.sequence)
    event.add("created", row.created_at)
    event.add("last-modified", row.changed_at)
    event.add("transp", "TRANSPARENT")
    return event


def _sha256_hex(value: bytes) -> str:
    return hashlib.sha256(value).hexdigest()
