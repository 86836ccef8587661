"""Who saw and did what on a job: one list, composed from what the record holds.

The database joins what the sources give, newest first; nothing is written for the
list but what people opened (`jobs.people.sights`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import Any, NamedTuple

from django.db.models import Q, QuerySet

from checks.queries.trail_sources import SOURCES, Cursor, Kind, TrailFilter
from core.models import Person
from jobs.models import Building, Job, Membership
from jobs.people.models import MembershipEvent, Sight

ROWS_A_PAGE = 100
ROWS_AT_ONCE = 1000  # of an export
NEWEST_FIRST = ("-row_at", "-row_source", "-row_ref")


class Entry(NamedTuple):
    """One row as the database gives it; `COLUMNS` in their order."""

    at: datetime
    source: int
    ref: str
    person: int | None
    building: int | None
    object: int | None
    about: str
    detail: str
    note: str
    number: int

    @property
    def name(self) -> str:
        """Which source it is from."""
        return SOURCES[self.source].name

    @property
    def kind(self) -> Kind:
        """What it is about."""
        return SOURCES[self.source].kind


# ---- the trail --------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """Part of the trail, and where the next begins."""

    entries: tuple[Entry, ...]
    after: Cursor | None


def page_of(job: Job, asked: TrailFilter, after: Cursor | None) -> Page:
    """Give a page of the trail; one query."""
    found = _joined(job, asked, after, most=ROWS_A_PAGE + 1)
    entries = tuple(Entry(*row) for row in found)
    more = len(entries) > ROWS_A_PAGE
    shown = entries[:ROWS_A_PAGE]
    last = shown[-1] if more else None
    place = Cursor(last.at, last.source, last.ref) if last else None
    return Page(entries=shown, after=place)


def every_entry(job: Job, asked: TrailFilter) -> Iterator[Sequence[Entry]]:
    """Give the whole trail as asked, some at once; one query for all."""
    found = _joined(job, asked, None).iterator(chunk_size=ROWS_AT_ONCE)
    while some := [Entry(*row) for row in islice(found, ROWS_AT_ONCE)]:
        yield some


def people_in(entries: Sequence[Entry]) -> dict[int, Person]:
    """Fetch whoever some entries name; one query."""
    who = {entry.person for entry in entries}
    who |= {entry.object for entry in entries if entry.name in ("part", "account")}
    return Person.objects.in_bulk([pk for pk in who if pk is not None])


def people_on(job: Job) -> QuerySet[Person]:
    """Give everybody who has or had a part in a job, or opened something of it."""
    had = MembershipEvent.objects.filter(job=job).values("person")
    have = Membership.objects.filter(job=job).values("person")
    saw = Sight.objects.filter(building__job=job).values("person")
    known = Q(pk__in=had) | Q(pk__in=have) | Q(pk__in=saw) | Q(pk=job.opened_by_id)
    return Person.objects.filter(known).order_by("first_name", "last_name", "pk")


def buildings_on(job: Job) -> dict[int, Building]:
    """Give a job's buildings by their keys."""
    return {building.pk: building for building in job.buildings.order_by("name")}


def _joined(
    job: Job, asked: TrailFilter, after: Cursor | None, most: int | None = None
) -> QuerySet[Any]:
    parts = [
        part
        for place, source in enumerate(SOURCES)
        if not asked.kind or source.kind == asked.kind
        if (part := source.part(job, place, asked, after)) is not None
    ]
    if not parts:
        return Job.objects.none().values_list()
    if most is not None:
        parts = [part.order_by(*NEWEST_FIRST)[:most] for part in parts]
    first, *rest = parts
    joined = first.union(*rest, all=True) if rest else first
    ordered = joined.order_by(*NEWEST_FIRST) if most is None or rest else joined
    return ordered[:most] if most is not None and rest else ordered
