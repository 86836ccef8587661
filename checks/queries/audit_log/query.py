"""Audit log of a job: who saw and did what, composed from the record itself.

The database joins the rows of all sources, newest first. Page views are the only rows
that are written for this log (`jobs.accounts.view_log`).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import Any, NamedTuple

from django.db.models import Q, QuerySet

from checks.queries.audit_log.rows import AuditLogCursor, AuditLogFilter, AuditLogKind
from checks.queries.audit_log.sources import SOURCES
from core.models import Person
from jobs.accounts.models import ViewLogEntry
from jobs.models import Building, Job, Membership, MembershipEvent

ROWS_PER_PAGE = 100
EXPORT_CHUNK_ROWS = 1000
PERSON_SOURCES = ("membership", "account")  # their `object` is a person
NEWEST_FIRST = ("-row_at", "-row_source", "-row_ref")


class AuditLogEntry(NamedTuple):
    """One row as the database returns it, with the members of `COLUMNS` in order."""

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
        """Name of its source."""
        return SOURCES[self.source].name

    @property
    def kind(self) -> AuditLogKind:
        """Its subject."""
        return SOURCES[self.source].kind


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditLogPage:
    """A page of the log, and the cursor of the next page."""

    entries: tuple[AuditLogEntry, ...]
    after: AuditLogCursor | None


def load_page(
    job: Job, filters: AuditLogFilter, after: AuditLogCursor | None
) -> AuditLogPage:
    """Load a page of the log, in one query."""
    # One row more than the page shows whether there is a next one.
    found = _union_sources(job, filters, after, limit=ROWS_PER_PAGE + 1)
    entries = tuple(AuditLogEntry(*row) for row in found)
    page = entries[:ROWS_PER_PAGE]
    last = page[-1] if len(entries) > ROWS_PER_PAGE else None
    after = AuditLogCursor(last.at, last.source, last.ref) if last else None
    return AuditLogPage(entries=page, after=after)


def iterate_entries(
    job: Job, filters: AuditLogFilter
) -> Iterator[Sequence[AuditLogEntry]]:
    """Iterate over the whole log in chunks, in one query."""
    found = _union_sources(job, filters, None).iterator(chunk_size=EXPORT_CHUNK_ROWS)
    while chunk := [AuditLogEntry(*row) for row in islice(found, EXPORT_CHUNK_ROWS)]:
        yield chunk


def load_people(entries: Sequence[AuditLogEntry]) -> dict[int, Person]:
    """Load the people that entries name, in one query."""
    pks = {entry.person for entry in entries}
    pks |= {entry.object for entry in entries if entry.name in PERSON_SOURCES}
    return Person.objects.in_bulk([pk for pk in pks if pk is not None])


def list_job_people(job: Job) -> QuerySet[Person]:
    """Return the people who work or worked on a job, or viewed a part of it."""
    former = MembershipEvent.objects.filter(job=job).values("person")
    present = Membership.objects.filter(job=job).values("person")
    viewers = ViewLogEntry.objects.filter(building__job=job).values("person")
    members = Q(pk__in=former) | Q(pk__in=present) | Q(pk=job.opened_by_id)
    return Person.objects.filter(members | Q(pk__in=viewers)).order_by(
        "first_name", "last_name", "pk"
    )


def map_buildings(job: Job) -> dict[int, Building]:
    """Return the buildings of a job by primary key."""
    return {building.pk: building for building in job.buildings.order_by("name")}


def _union_sources(
    job: Job,
    filters: AuditLogFilter,
    after: AuditLogCursor | None,
    limit: int | None = None,
) -> QuerySet[Any]:
    parts = [
        part
        for index, source in enumerate(SOURCES)
        if not filters.kind or source.kind == filters.kind
        if (part := source.build_rows(job, index, filters, after)) is not None
    ]
    if not parts:
        return Job.objects.none().values_list()
    if limit is not None:
        # Cut every source to a page before the union: the database then sorts few rows.
        parts = [part.order_by(*NEWEST_FIRST)[:limit] for part in parts]
    first, *rest = parts
    joined = first.union(*rest, all=True) if rest else first
    # A single source that is already cut may not be ordered again.
    ordered = joined.order_by(*NEWEST_FIRST) if limit is None or rest else joined
    return ordered[:limit] if limit is not None and rest else ordered
