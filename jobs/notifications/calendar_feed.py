"""Ship dates and the strength gates' forecasts as iCalendar (RFC 5545).

A person's calendar has an address of its own that needs no sign-in, so that other
programs can read it; of that address only a digest is kept, and it can be taken back.
It holds what the person may see at the moment it is read.
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
PAST_DATE_RETENTION = timedelta(days=180)  # how long a date stays once it is past
CANCELLED_DATE_RETENTION = timedelta(days=90)  # and one that was cancelled
REFRESH_INTERVAL = timedelta(hours=1)
CalendarDateKind = CalendarDate.Kind


def update_ship_date(job: Job) -> None:
    """Bring calendars up to a job's ship date, in the transaction that changed it."""
    which = {"kind": CalendarDateKind.SHIP, "job": job, "building": None}
    _update_date(job.ship_date, f"Ships: {job}", f"{job.customer}\n{job.site}", **which)


def update_strength_forecast(building: Building, day: date | None, note: str) -> None:
    """Bring calendars up to the day a strength gate is likely to open.

    Parameters
    ----------
    building : whose gate.
    day : the day; None where it cannot be told, or the gate is open.
    note : what else is known of it, and what it is not.
    """
    likely = "Concrete likely strong enough"
    # Most buildings have no forecast; their job is not fetched for it.
    summary = "" if day is None else f"{likely}: {building.job.number} {building}"
    which = {
        "kind": CalendarDateKind.STRENGTH,
        "job_id": building.job_id,
        "building": building,
    }
    _update_date(day, summary, note, **which)


def _update_date(day: date | None, summary: str, note: str, **which: Any) -> None:
    held = CalendarDate.objects.filter(**which).select_for_update().first()
    if held is None:
        if day is not None:
            said = {"day": day, "summary": summary, "note": note}
            CalendarDate.objects.get_or_create(**which, defaults=said)
        return
    before = (held.day, held.summary, held.note, held.cancelled)
    held.cancelled = day is None
    if day is not None:
        held.day, held.summary, held.note = day, summary, note
    if before != (held.day, held.summary, held.note, held.cancelled):
        held.sequence += 1
        held.save()


@transaction.atomic
def create_calendar_key(*, actor: Person) -> str:
    """Give a person a new secret address, and take the old one back.

    Returns
    -------
    str : the address, which is never shown again.
    """
    token = secrets.token_urlsafe(32)
    CalendarKey.objects.filter(person=actor).delete()
    CalendarKey.objects.create(person=actor, digest=_sha256_hex(token.encode()))
    return public_url(reverse("notifications:calendar", args=[token]))


@transaction.atomic
def revoke_calendar_key(*, actor: Person) -> None:
    """Take a person's secret address back; calendars that read it get nothing more."""
    CalendarKey.objects.filter(person=actor).delete()


def find_calendar_key(token: str) -> CalendarKey | None:
    """Find whose address this is; None for one taken back, or of a closed account."""
    return (
        CalendarKey.objects.filter(
            digest=_sha256_hex(token.encode()), person__is_active=True
        )
        .select_related("person")
        .first()
    )


@dataclass(frozen=True, slots=True)
class CalendarFeed:
    """A calendar as it is sent."""

    body: bytes
    etag: str
    changed_at: datetime

    @property
    def last_modified(self) -> str:
        """When it last said something else, as HTTP writes it."""
        return http_date(self.changed_at.timestamp())


def render_feed(key: CalendarKey) -> CalendarFeed:
    """Write a person's calendar, and note when it last said something else.

    Its own time of change, and not that of the dates in it: somebody who is put on a
    job, or taken off one, sees other dates though none was changed.
    """
    body = _render_calendar(_list_dates(key.person))
    digest = _sha256_hex(body)
    if digest != key.body_digest or key.body_changed_at is None:
        key.body_digest, key.body_changed_at = digest, now()
        key.save(update_fields=["body_digest", "body_changed_at"])
    return CalendarFeed(body, f'"{digest}"', key.body_changed_at)


def _list_dates(person: Person) -> Iterable[CalendarDate]:
    shown = Q(cancelled=False) | Q(changed_at__gt=now() - CANCELLED_DATE_RETENTION)
    return (
        CalendarDate.objects.filter(shown, day__gte=localdate() - PAST_DATE_RETENTION)
        .filter(job__in=Job.objects.visible_to(person))
        .select_related("job", "building")
        .order_by("day", "pk")
    )


def _render_calendar(dates: Iterable[CalendarDate]) -> bytes:
    from icalendar import Calendar  # takes long to load, and is seldom needed

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
    """Write what stands where there is no date: one component at least (3.6)."""
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
    """Write one date: an event of that whole day that takes nobody's time.

    Without a METHOD the stamp says when it was last changed (section 3.8.7.2).
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
    event.add("created", row.made_at)
    event.add("last-modified", row.changed_at)
    event.add("transp", "TRANSPARENT")
    return event


def _sha256_hex(value: bytes) -> str:
    return hashlib.sha256(value).hexdigest()
