"""Rows of the audit log: filter, cursor, and how a source selects its rows.

Every source gives rows with the same columns, so that the database can join them.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from typing import Any, NamedTuple

from django.contrib.postgres.aggregates import StringAgg
from django.db.models import (
    BigIntegerField,
    Count,
    Expression,
    F,
    IntegerField,
    Max,
    Q,
    QuerySet,
    TextField,
    Value,
)
from django.db.models.functions import Cast, Coalesce, TruncMinute
from django.utils.timezone import make_aware

from jobs.models import Job

COLUMNS = (
    "row_at", "row_source", "row_ref", "row_person", "row_building", "row_object",
    "row_about", "row_detail", "row_note", "row_number",
)  # fmt: skip
MINUTE = timedelta(minutes=1)
MAX_SOURCES = 100  # bound for a cursor that somebody edited in the address


class AuditLogKind(StrEnum):
    """Subjects of rows, by which the log is filtered."""

    VIEWS = "opened"
    READINGS = "readings"
    PHOTOGRAPHS = "photographs"
    FINDINGS = "findings"
    DECISIONS = "decisions"
    WORK = "work"
    RELEASES = "releases"
    PLANS = "plans"
    PEOPLE = "people"
    SIGN_INS = "sign-ins"
    INSTRUMENTS = "instruments"
    CONCRETE = "concrete"
    STEEL = "steel"


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditLogFilter:
    """Filter of the audit log; since and until are whole days, both included."""

    person: int | None = None
    kind: str = ""
    building: int | None = None
    since: date | None = None
    until: date | None = None


class AuditLogCursor(NamedTuple):
    """The last row of a page, behind which the next page begins."""

    at: datetime
    source: int
    ref: str

    def __str__(self) -> str:
        return f"{self.at.isoformat()}~{self.source}~{self.ref}"

    @classmethod
    def parse(cls, text: str) -> "AuditLogCursor | None":
        """Parse the text in a page's address; None where it is no cursor."""
        at, _, rest = text.partition("~")
        source, _, ref = rest.partition("~")
        try:
            found = cls(datetime.fromisoformat(at), int(source), ref)
        except ValueError:
            return None
        known = found.at.tzinfo is not None and 0 <= found.source < MAX_SOURCES
        return found if known and len(ref) < 40 and ref.isprintable() else None


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditLogSource:
    """A table that rows come from, and which of its columns hold what."""

    name: str
    kind: AuditLogKind
    rows: Callable[[Job], QuerySet[Any]]
    at: str
    person: str
    building: str = ""
    object: str = ""
    about: str | Expression = ""
    detail: str | Expression = ""
    note: str = ""
    number: str = ""

    def build_rows(
        self,
        job: Job,
        index: int,
        filters: AuditLogFilter,
        after: AuditLogCursor | None,
    ) -> QuerySet[Any] | None:
        """Build the rows that match; None where the source can have none."""
        if filters.building is not None and not self.building:
            return None
        rows = self.rows(job).order_by().filter(self._build_filter(filters))
        rows = rows.annotate(
            row_at=F(self.at),
            row_source=Value(index, IntegerField()),
            row_ref=Cast("pk", TextField()),
            row_person=_number_column(self.person),
            row_building=_number_column(self.building),
            row_object=_number_column(self.object),
            row_about=_text_column(self.about),
            row_detail=_text_column(self.detail),
            row_note=_text_column(self.note),
            row_number=_number_column(self.number),
        )
        return _filter_after(rows, index, after).values_list(*COLUMNS)

    def _build_filter(self, filters: AuditLogFilter) -> Q:
        wanted = _filter_days(self.at, filters)
        if filters.person is not None:
            wanted &= Q(**{self.person: filters.person})
        if filters.building is not None:
            wanted &= Q(**{self.building: filters.building})
        return wanted


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupedSource(AuditLogSource):
    """A source whose rows are grouped by person, building and minute."""

    def build_rows(
        self,
        job: Job,
        index: int,
        filters: AuditLogFilter,
        after: AuditLogCursor | None,
    ) -> QuerySet[Any] | None:
        """Build one row for each person, building and minute."""
        rows: QuerySet[Any] = (
            self.rows(job).order_by().filter(self._build_filter(filters))
        )
        if after is not None:
            # Whole minutes only: a group must not be split between two pages.
            rows = rows.filter(recorded_at__lt=_end_of_minute(after.at))
        rows = rows.annotate(minute=TruncMinute("recorded_at"))
        rows = rows.values("building", "recorded_by", "minute").annotate(
            row_at=Max("recorded_at"),
            row_source=Value(index, IntegerField()),
            row_ref=Cast(Max("pk"), TextField()),
            row_person=F("recorded_by"),
            row_building=F("building"),
            row_object=Value(None, BigIntegerField()),
            row_about=Value("", TextField()),
            row_detail=StringAgg(self.detail, ", ", distinct=True),
            row_note=Value("", TextField()),
            row_number=Count("pk"),
        )
        return _filter_after(rows, index, after).values_list(*COLUMNS)


def _filter_after(
    rows: QuerySet[Any], index: int, after: AuditLogCursor | None
) -> QuerySet[Any]:
    """Keep the rows after a cursor, in the order of the log."""
    if after is None:
        return rows
    # Rows of one instant are ordered by source, then by primary key as text.
    same = Q(row_at=after.at)
    if index > after.source:
        same = Q(pk=None)
    elif index == after.source:
        same &= Q(row_ref__lt=after.ref)
    return rows.filter(Q(row_at__lt=after.at) | same)


def _filter_days(field: str, filters: AuditLogFilter) -> Q:
    wanted = Q()
    if filters.since is not None:
        begins = make_aware(datetime.combine(filters.since, time.min))
        wanted &= Q(**{f"{field}__gte": begins})
    if filters.until is not None:
        ends = make_aware(datetime.combine(filters.until + timedelta(days=1), time.min))
        wanted &= Q(**{f"{field}__lt": ends})
    return wanted


def _end_of_minute(moment: datetime) -> datetime:
    return moment.replace(second=0, microsecond=0) + MINUTE


def _text_column(column: str | Expression) -> Expression:
    # UNION needs the same type in a column of every source.
    nothing = Value("", TextField())
    return Coalesce(Cast(column, TextField()), nothing) if column else nothing


def _number_column(column: str) -> Cast:
    return Cast(column or Value(None), BigIntegerField())
