"""Where the trail of a job comes from: each source gives rows of the same columns.

What one person recorded in numbers for one building within a minute is one row.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from typing import Any, NamedTuple

from django.contrib.postgres.aggregates import StringAgg
from django.db.models import (
    BigIntegerField,
    Case,
    Count,
    Expression,
    F,
    Func,
    IntegerField,
    Max,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    TextField,
    Value,
    When,
)
from django.db.models.functions import Cast, Coalesce, TruncMinute
from django.utils.timezone import make_aware

from checks.models import (
    ConcreteEntry,
    Finding,
    FindingEvent,
    Instrument,
    Photograph,
    Reading,
    Release,
)
from core.models import AccountEvent, Device
from jobs.accounts.models import Invitation, ViewLogEntry
from jobs.models import Job, Membership, MembershipEvent, PlanRevision

COLUMNS = (
    "row_at", "row_source", "row_ref", "row_person", "row_building", "row_object",
    "row_about", "row_detail", "row_note", "row_number",
)  # fmt: skip
MINUTE = timedelta(minutes=1)
MAX_SOURCES = 100


class AuditLogKind(StrEnum):
    """What a row is about, to filter by."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditLogFilter:
    """What the address asks the trail for; days are whole, and included."""

    person: int | None = None
    kind: str = ""
    building: int | None = None
    since: date | None = None
    until: date | None = None


class AuditLogCursor(NamedTuple):
    """The last row of the page before."""

    at: datetime
    source: int
    ref: str

    def __str__(self) -> str:
        return f"{self.at.isoformat()}~{self.source}~{self.ref}"

    @classmethod
    def parse(cls, text: str) -> "AuditLogCursor | None":
        """Understand what a page's address says; None where it is no cursor."""
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
    """Where rows come from, and which of its columns are which."""

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
        """Give its rows as asked; None where it can have none."""
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
    """What comes in numbers, gathered by who recorded it for which building when."""

    def build_rows(
        self,
        job: Job,
        index: int,
        filters: AuditLogFilter,
        after: AuditLogCursor | None,
    ) -> QuerySet[Any] | None:
        """Give a row for each minute."""
        rows: QuerySet[Any] = (
            self.rows(job).order_by().filter(self._build_filter(filters))
        )
        if after is not None:
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
    """Leave what comes after a cursor, in the order of the trail."""
    if after is None:
        return rows
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
    nothing = Value("", TextField())
    return Coalesce(Cast(column, TextField()), nothing) if column else nothing


def _number_column(column: str) -> Cast:
    return Cast(column or Value(None), BigIntegerField())


# ---- the sources ------------------------------------------------------------


def _filter_people(job: Job) -> Q:
    """Whoever has or had a part in a job."""
    had = MembershipEvent.objects.filter(job=job).values("person")
    have = Membership.objects.filter(job=job).values("person")
    return Q(person__in=had) | Q(person__in=have)


def _select_events(*kinds: str) -> Callable[[Job], QuerySet[Any]]:
    return lambda job: FindingEvent.objects.filter(
        finding__building__job=job, kind__in=kinds
    )


def _finding_source(name: str, kind: AuditLogKind, *kinds: str) -> AuditLogSource:
    return AuditLogSource(
        name=name,
        kind=kind,
        rows=_select_events(*kinds),
        at="at",
        person="person",
        building="finding__building",
        object="finding",
        about="kind",
        detail="finding__topic",
        note="note",
    )


def _invitation_source(name: str, at: str, person: str) -> AuditLogSource:
    def rows(job: Job) -> QuerySet[Any]:
        done = {f"{at}__isnull": False}
        return Invitation.objects.filter(jobs=job, **done)

    return AuditLogSource(
        name=name,
        kind=AuditLogKind.PEOPLE,
        rows=rows,
        at=at,
        person=person,
        about="role",
        detail="address",
    )


_VIEWED_OBJECT = Case(
    When(
        kind=ViewLogEntry.Kind.FINDING,
        then=Subquery(
            Finding.objects.filter(pk=OuterRef("object_id")).values("topic")[:1]
        ),
    ),
    When(
        kind__in=[ViewLogEntry.Kind.RELEASE, ViewLogEntry.Kind.RELEASE_PDF],
        then=Subquery(
            Release.objects.filter(pk=OuterRef("object_id")).values("kind")[:1]
        ),
    ),
    default=Value(""),
    output_field=TextField(),
)

_CHECK_KIND = Func(
    F("check_key"), Value(":"), Value(1), function="split_part",
    output_field=TextField(),
)  # fmt: skip

SOURCES: tuple[AuditLogSource, ...] = (
    AuditLogSource(
        name="sight",
        kind=AuditLogKind.VIEWS,
        rows=lambda job: ViewLogEntry.objects.filter(building__job=job),
        at="at",
        person="person",
        building="building",
        object="object_id",
        about="kind",
        detail=_VIEWED_OBJECT,
    ),
    GroupedSource(
        name="readings",
        kind=AuditLogKind.READINGS,
        rows=lambda job: Reading.objects.filter(building__job=job),
        at="recorded_at",
        person="recorded_by",
        building="building",
        detail=_CHECK_KIND,
    ),
    AuditLogSource(
        name="photograph",
        kind=AuditLogKind.PHOTOGRAPHS,
        rows=lambda job: Photograph.objects.filter(building__job=job),
        at="recorded_at",
        person="recorded_by",
        building="building",
        object="finding",
        about="finding__topic",
        detail="check_key",
        note="caption",
    ),
    _finding_source(
        "finding", AuditLogKind.FINDINGS, "opened", "changed", "flagged", "closed"
    ),
    _finding_source("decision", AuditLogKind.DECISIONS, "decided", "asked_again"),
    _finding_source("work", AuditLogKind.WORK, "carried_out"),
    AuditLogSource(
        name="release",
        kind=AuditLogKind.RELEASES,
        rows=lambda job: Release.objects.filter(building__job=job),
        at="signed_at",
        person="signed_by",
        building="building",
        object="pk",
        about="kind",
        note="note",
    ),
    AuditLogSource(
        name="plan",
        kind=AuditLogKind.PLANS,
        rows=lambda job: PlanRevision.objects.filter(building__job=job),
        at="drawn_at",
        person="drawn_by",
        building="building",
        note="note",
        number="number",
    ),
    AuditLogSource(
        name="job",
        kind=AuditLogKind.PEOPLE,
        rows=lambda job: Job.objects.filter(pk=job.pk),
        at="opened_at",
        person="opened_by",
    ),
    AuditLogSource(
        name="part",
        kind=AuditLogKind.PEOPLE,
        rows=lambda job: MembershipEvent.objects.filter(job=job),
        at="at",
        person="by",
        object="person",
        about="role",
    ),
    _invitation_source("invited", "invited_at", "invited_by"),
    _invitation_source("joined", "accepted_at", "accepted_by"),
    _invitation_source("revoked", "revoked_at", "revoked_by"),
    AuditLogSource(
        name="account",
        kind=AuditLogKind.PEOPLE,
        rows=lambda job: AccountEvent.objects.filter(
            _filter_people(job), at__gte=job.opened_at
        ).exclude(kind=AccountEvent.Kind.JOINED),
        at="at",
        person="by",
        object="person",
        about="kind",
        note="note",
    ),
    AuditLogSource(
        name="sign-in",
        kind=AuditLogKind.SIGN_INS,
        rows=lambda job: Device.objects.filter(
            _filter_people(job), first_seen_at__gte=job.opened_at
        ),
        at="first_seen_at",
        person="person",
        detail="family",
    ),
    AuditLogSource(
        name="instrument",
        kind=AuditLogKind.INSTRUMENTS,
        rows=lambda job: Instrument.objects.filter(job=job),
        at="added_at",
        person="added_by",
        detail="name",
    ),
    GroupedSource(
        name="concrete",
        kind=AuditLogKind.CONCRETE,
        rows=lambda job: ConcreteEntry.objects.filter(building__job=job),
        at="recorded_at",
        person="recorded_by",
        building="building",
        detail="kind",
    ),
)
