"""Who saw and did what on a job: one list, composed from what the record holds.

The database joins what the sources give, newest first; nothing is written for the
list but what people opened (`jobs.accounts.view_log`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import Any, NamedTuple

from django.db.models import Q, QuerySet

from checks.queries.audit_log.sources import (
    SOURCES,
    AuditLogCursor,
    AuditLogFilter,
    AuditLogKind,
)
from core.models import Person
from jobs.accounts.models import ViewLogEntry
from jobs.models import Building, Job, Membership, MembershipEvent

ROWS_PER_PAGE = 100
EXPORT_CHUNK_ROWS = 1000  # of an export
NEWEST_FIRST = ("-row_at", "-row_source", "-row_ref")


class AuditLogEntry(NamedTuple):
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
    def kind(self) -> AuditLogKind:
        """What it is about."""
        return SOURCES[self.source].kind


# ---- the trail --------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditLogPage:
    """Part of the trail, and where the next begins."""

    entries: tuple[AuditLogEntry, ...]
    after: AuditLogCursor | None


def load_page(
    job: Job, filters: AuditLogFilter, after: AuditLogCursor | None
) -> AuditLogPage:
    """Give a page of the trail; one query."""
    found = _union_sources(job, filters, after, limit=ROWS_PER_PAGE + 1)
    entries = tuple(AuditLogEntry(*row) for row in found)
    more = len(entries) > ROWS_PER_PAGE
    shown = entries[:ROWS_PER_PAGE]
    last = shown[-1] if more else None
    place = AuditLogCursor(last.at, last.source, last.ref) if last else None
    return AuditLogPage(entries=shown, after=place)


def iterate_entries(
    job: Job, filters: AuditLogFilter
) -> Iterator[Sequence[AuditLogEntry]]:
    """Give the whole trail as asked, some at once; one query for all."""
    found = _union_sources(job, filters, None).iterator(chunk_size=EXPORT_CHUNK_ROWS)
    while some := [AuditLogEntry(*row) for row in islice(found, EXPORT_CHUNK_ROWS)]:
        yield some


def load_people(entries: Sequence[AuditLogEntry]) -> dict[int, Person]:
    """Fetch whoever some entries name; one query."""
    who = {entry.person for entry in entries}
    who |= {entry.object for entry in entries if entry.name in ("part", "account")}
    return Person.objects.in_bulk([pk for pk in who if pk is not None])


def list_job_people(job: Job) -> QuerySet[Person]:
    """Give everybody who has or had a part in a job, or opened something of it."""
    had = MembershipEvent.objects.filter(job=job).values("person")
    have = Membership.objects.filter(job=job).values("person")
    saw = ViewLogEntry.objects.filter(building__job=job).values("person")
    known = Q(pk__in=had) | Q(pk__in=have) | Q(pk__in=saw) | Q(pk=job.opened_by_id)
    return Person.objects.filter(known).order_by("first_name", "last_name", "pk")


def map_buildings(job: Job) -> dict[int, Building]:
    """Give a job's buildings by their keys."""
    return {building.pk: building for building in job.buildings.order_by("name")}


def _union_sources(
    job: Job,
    filters: AuditLogFilter,
    after: AuditLogCursor | None,
    limit: int | None = None,
) -> QuerySet[Any]:
    parts = [
        part
        for place, source in enumerate(SOURCES)
        if not filters.kind or source.kind == filters.kind
        if (part := source.build_rows(job, place, filters, after)) is not None
    ]
    if not parts:
        return Job.objects.none().values_list()
    if limit is not None:
        parts = [part.order_by(*NEWEST_FIRST)[:limit] for part in parts]
    first, *rest = parts
    joined = first.union(*rest, all=True) if rest else first
    ordered = joined.order_by(*NEWEST_FIRST) if limit is None or rest else joined
    return ordered[:limit] if limit is not None and rest else ordered
