"""Several findings in columns, to be decided with one signature."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Max, prefetch_related_objects

from checks.labels import describe_check, describe_remedy, get_nearer_bound
from checks.models import Finding, FindingEvent, Reading
from checks.queries.finding_groups import QueueRow
from checks.queries.limit_rows import LimitRow, list_topic_limits
from checks.queries.remedy_explanations import explain_remedy, summarise_remedy
from checks.queries.remedy_steps import RemedyContext, Step
from checks.queries.remedy_values import LabelledValue
from checks.queries.review import find_check_or_stub, load_remedy_context
from core.models import Person
from core.vocabulary import RemedyKind, Verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.exchange.result.document import CheckResult
from jobs.exchange.result.findings import RemedyResult

KINDS_WITHOUT_LENGTH = frozenset({CheckKind.STRENGTH, CheckKind.BENCHMARK})
FAILING = (Verdict.OUTSIDE, Verdict.REMEASURE)
MAX_LISTED_CHECKS = 3  # of one finding; its own page lists them all


@dataclass(frozen=True, slots=True, kw_only=True)
class FailingCheckRow:
    """A check that fails.

    Attributes
    ----------
    label : str
        The check; empty where the label of the finding says it already.
    deviation : float or None
        None where there is none, or where it is no length. [mm]
    limit : float or None
        Its largest size on that side; None for none. [mm]
    entered : str
        The current readings as typed, with who measured.
    """

    label: str
    deviation: float | None
    limit: float | None
    verdict: Verdict
    entered: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingColumn:
    """One of several findings, with the parts that differ between them.

    Attributes
    ----------
    failing_checks : tuple of FailingCheckRow
        The first few of its checks that fail.
    unlisted_count : int
        Number of further checks that fail.
    remedy, values, steps : str, tuple, tuple
        The first remedy other than measuring again.
    is_own : bool
        True where the reader took readings of it and so cannot decide.
    """

    queue_row: QueueRow
    failing_checks: tuple[FailingCheckRow, ...]
    unlisted_count: int
    remedy: str
    values: tuple[LabelledValue, ...]
    steps: tuple[Step, ...]
    is_own: bool


def build_columns(
    members: Sequence[QueueRow], own: frozenset[int]
) -> list[FindingColumn]:
    """Build the columns of findings of one building, in as many queries as for one."""
    findings = [member.finding for member in members]
    # Findings of one building share their evaluation: load it once.
    prefetch_related_objects(findings, "evaluation__revision")
    readings = _load_current_readings(findings)
    return [
        _build_column(member, readings, member.finding.pk in own) for member in members
    ]


def _build_column(
    member: QueueRow, readings: dict[str, list[str]], own: bool
) -> FindingColumn:
    finding = member.finding
    context = load_remedy_context(finding)
    keys = set(finding.checks)
    failing = [
        row
        for row in context.result["checks"]
        if row["check"] in keys and row["verdict"] in FAILING
    ]
    remedy: RemedyResult = next(
        (row for row in finding.remedies if row["remedy"] != RemedyKind.REMEASURE),
        finding.remedies[0],
    )
    return FindingColumn(
        queue_row=member,
        failing_checks=tuple(
            _build_failing_row(row, finding, context, readings)
            for row in failing[:MAX_LISTED_CHECKS]
        ),
        unlisted_count=max(len(failing) - MAX_LISTED_CHECKS, 0),
        remedy=describe_remedy(remedy),
        values=tuple(summarise_remedy(remedy)),
        steps=explain_remedy(remedy, context),
        is_own=own,
    )


def _build_failing_row(
    row: CheckResult,
    finding: Finding,
    context: RemedyContext,
    readings: dict[str, list[str]],
) -> FailingCheckRow:
    key = row["check"]
    check = find_check_or_stub(context.plan, key)
    return FailingCheckRow(
        label="" if key == finding.topic else describe_check(check),
        deviation=None if check.kind in KINDS_WITHOUT_LENGTH else row["deviation"],
        limit=get_nearer_bound(row),
        verdict=Verdict(row["verdict"]),
        entered="; ".join(readings.get(key, ())),
    )


def _load_current_readings(findings: Sequence[Finding]) -> dict[str, list[str]]:
    """Load the current readings of the findings' checks as text, with who measured."""
    keys = {key for finding in findings for key in finding.checks}
    readings = (
        Reading.objects.filter(building=findings[0].building_id, check_key__in=keys)
        .current()
        .select_related("recorded_by")
        .order_by("pk")
    )
    by_check: dict[str, list[str]] = {}
    for reading in readings:
        text = f"{reading.entered}, {reading.crew or reading.recorded_by}"
        by_check.setdefault(reading.check_key, []).append(text)
    return by_check


def get_last_events(findings: Sequence[Finding]) -> dict[int, int]:
    """Return the last event of each finding: what the signer has seen of it."""
    rows = (
        FindingEvent.objects.filter(finding__in=findings)
        .order_by()
        .values("finding")
        .annotate(last=Max("pk"))
    )
    return {row["finding"]: row["last"] for row in rows}


def list_shared_limits(findings: Sequence[Finding]) -> list[LimitRow]:
    """List the limits these findings were judged by, each once."""
    limits: dict[LimitRow, None] = {}
    for finding in findings:
        tolerances = finding.evaluation.result["tolerances"]
        limits |= dict.fromkeys(list_topic_limits(finding.topic, tolerances))
    return list(limits)


def get_chosen_findings(
    person: Person, building: int, pks: Sequence[str]
) -> list[Finding]:
    """Load the chosen findings of a building, in the order opened; skip all others."""
    # A longer number would not fit into a bigint column.
    numbers = [int(pk) for pk in pks if pk.isdecimal() and len(pk) < 18]
    findings = Finding.objects.visible_to(person).filter(
        building=building, pk__in=numbers
    )
    return list(findings.select_related("building__job").order_by("opened_at", "pk"))
