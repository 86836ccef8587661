"""Sources of a job's audit log: the tables whose rows it shows.

Readings and concrete data that one person recorded for one building within a minute
are one row.
"""

from collections.abc import Callable
from typing import Any

from django.db.models import (
    Case,
    F,
    Func,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    TextField,
    Value,
    When,
)

from checks.models import (
    ConcreteEntry,
    Finding,
    FindingEvent,
    Instrument,
    Photograph,
    Reading,
    ReadingWithdrawal,
    Release,
)
from checks.queries.audit_log.rows import AuditLogKind, AuditLogSource, GroupedSource
from core.models import AccountEvent, Device
from jobs.accounts.models import Invitation, ViewLogEntry
from jobs.models import (
    Job,
    Membership,
    MembershipEvent,
    PlanRevision,
    SteelStateEvent,
)


def _filter_people(job: Job) -> Q:
    """Return the condition for people who work or worked on a job."""
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
        happened = {f"{at}__isnull": False}
        return Invitation.objects.filter(jobs=job, **happened)

    return AuditLogSource(
        name=name,
        kind=AuditLogKind.PEOPLE,
        rows=rows,
        at=at,
        person=person,
        about="role",
        detail="address",
    )


# The view log keeps the kind and the key of an object; the label needs its topic.
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
        name="view",
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
        name="withdrawal",
        kind=AuditLogKind.READINGS,
        rows=lambda job: ReadingWithdrawal.objects.filter(reading__building__job=job),
        at="withdrawn_at",
        person="withdrawn_by",
        building="reading__building",
        detail="reading__check_key",
        note="reason",
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
        name="membership",
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
    # Accounts and sign-ins may be older than the job: show what happened since.
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
    AuditLogSource(
        name="steel",
        kind=AuditLogKind.STEEL,
        rows=lambda job: SteelStateEvent.objects.filter(building__job=job),
        at="at",
        person="by",
        building="building",
        about="state",
        detail="cause",
        note="note",
    ),
)
