"""Review queue, and the details of one finding."""

from dataclasses import dataclass, replace
from typing import assert_never

from django.core.paginator import Page, Paginator
from django.db.models import F, Prefetch, QuerySet

from checks.drawings.result_view import ResultView
from checks.evaluation.finding_topics import FindingTopic
from checks.labels import (
    describe_check,
    describe_remedy,
    describe_topic,
    get_remedy_label,
)
from checks.methods.catalogue import find_remedy_method
from checks.models import Decision, Finding, Reading
from checks.models.findings import FindingQuerySet
from checks.queries.finding_groups import RemeasuredOnce
from checks.queries.limit_rows import (
    LimitRow,
    ScreenConditionRow,
    list_screen_conditions,
    list_topic_limits,
)
from checks.queries.reading_history import ReadingHistoryRow, build_history_rows
from checks.queries.remedy_explanations import explain_remedy, summarise_remedy
from checks.queries.remedy_steps import RemedyContext, Step
from checks.queries.remedy_values import LabelledValue
from checks.queries.walk import SheetRow
from core.formatting import format_probability
from core.models import Person
from core.vocabulary import Approval, LabelledStrEnum
from jobs.anchor_plan.check_keys import CheckKey
from jobs.anchor_plan.check_sheet import UnknownCheckError, find_check
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan
from jobs.exchange.result.findings import RemedyResult
from jobs.exchange.result.next_readings import SecondReadingResult
from jobs.plans.plan_cache import load_plan

FINDINGS_PER_PAGE = 50


class QueueState(LabelledStrEnum):
    """Tabs of the review queue."""

    WAITING = "waiting", "Needs decision"
    FIELD = "field", "In the field"
    OPEN = "open", "All open"
    CLOSED = "closed", "Closed"


@dataclass(frozen=True, slots=True, kw_only=True)
class QueueFilter:
    """Filters of the review queue; an empty one lets everything through."""

    state: QueueState = QueueState.WAITING
    job: str = ""
    building: int | None = None
    topic: str = ""


def paginate_findings(
    person: Person, filters: QueueFilter, page: str | None
) -> Page[Finding]:
    """Return a page of findings this person may see, most urgent shipments first."""
    return Paginator(filter_findings(person, filters), FINDINGS_PER_PAGE).get_page(page)


def filter_findings(person: Person, filters: QueueFilter) -> QuerySet[Finding]:
    """Return the findings that match, most urgent shipments first."""
    findings = _filter_state(Finding.objects.visible_to(person), filters.state)
    if filters.building is not None:
        findings = findings.filter(building=filters.building)
    if filters.job:
        findings = findings.filter(building__job__number__icontains=filters.job)
    if filters.topic:
        findings = findings.filter(topic__startswith=filters.topic)
    return findings.select_related("building__job").order_by(
        F("building__job__ship_date").asc(nulls_last=True),
        "building__job__number",
        "building",
        "opened_at",
        "pk",
    )


def _filter_state(findings: FindingQuerySet, state: QueueState) -> QuerySet[Finding]:
    match state:
        case QueueState.WAITING:
            return findings.undecided()
        case QueueState.FIELD:
            return findings.open().exclude(pk__in=findings.undecided())
        case QueueState.OPEN:
            return findings.open()
        case QueueState.CLOSED:
            return findings.exclude(closed_at=None)
    assert_never(state)


@dataclass(frozen=True, slots=True, kw_only=True)
class RemedyDetails:
    """A remedy with its values and the steps of its arithmetic.

    Attributes
    ----------
    index : int
        Index among the remedies of the finding as computed, which a decision names.
    method : str
        Address of the method behind it; empty where there is none.
    """

    index: int
    name: str
    label: str
    approval: Approval
    reason: str
    why_second: str
    cautions: tuple[str, ...]
    values: tuple[LabelledValue, ...]
    steps: tuple[Step, ...] = ()
    conditions: tuple[ScreenConditionRow, ...] = ()
    method: str = ""


def list_remedies(
    finding: Finding,
    remeasured: RemeasuredOnce | None = None,
    context: RemedyContext | None = None,
) -> list[RemedyDetails]:
    """List the remedies of a finding, the proposal first.

    Parameters
    ----------
    finding : Finding
        With its remedies as last computed.
    remeasured : RemeasuredOnce, optional
        Set where measuring again was done already: the second remedy is proposed.
    context : RemedyContext, optional
        Plan and result, where the steps of the arithmetic are wanted.
    """
    remedies = [
        build_remedy_details(row, index, context)
        for index, row in enumerate(finding.remedies)
    ]
    if remeasured is None:
        return remedies
    # Measuring again stays possible, but it is no longer the proposal.
    first, following, *rest = remedies
    return [
        replace(following, why_second=""),
        replace(first, why_second=remeasured.text),
        *rest,
    ]


def load_remedy_context(finding: Finding) -> RemedyContext:
    """Load the plan and the result that a finding's remedies were computed from."""
    evaluation = finding.evaluation
    return RemedyContext(
        mark=FindingTopic(finding.topic).subject,
        plan=load_plan(evaluation.revision),
        result=evaluation.result,
    )


def build_remedy_details(
    row: RemedyResult, index: int = 0, context: RemedyContext | None = None
) -> RemedyDetails:
    """Build the details of one remedy; its steps where the context is given."""
    return RemedyDetails(
        index=index,
        name=row["remedy"],
        label=describe_remedy(row),
        approval=Approval(row["approval"]),
        reason=row["reason"],
        why_second=row.get("why_second") or "",
        cautions=tuple(row["cautions"]),
        values=tuple(summarise_remedy(row)),
        steps=() if context is None else explain_remedy(row, context),
        conditions=tuple(list_screen_conditions(row)),
        method=find_remedy_method(row),
    )


def get_finding(person: Person, pk: int) -> Finding | None:
    """Load a finding with its history; None where this person cannot see it."""
    decisions = Decision.objects.select_related(
        "engineer", "work_report__person"
    ).order_by("pk")
    finding: Finding | None = (
        Finding.objects.visible_to(person)
        .select_related("building__job", "evaluation__revision")
        .prefetch_related("events__person", Prefetch("decisions", decisions))
        .filter(pk=pk)
        .first()
    )
    return finding


def list_finding_checks(
    finding: Finding,
) -> list[tuple[SheetRow, list[ReadingHistoryRow]]]:
    """List the checks of a finding with their latest verdicts and all readings."""
    results = ResultView(finding.evaluation.result)
    by_check: dict[str, list[Reading]] = {}
    readings = Reading.objects.filter(
        building=finding.building, check_key__in=finding.checks
    ).select_related(
        "recorded_by", "instrument", "supersedes", "replaced_by", "withdrawal"
    )
    for reading in readings.order_by("pk"):
        by_check.setdefault(reading.check_key, []).append(reading)
    plan = load_plan(finding.evaluation.revision)
    checks = [find_check_or_stub(plan, key) for key in finding.checks]
    several = len({check.mark for check in checks}) > 1
    return [
        (
            SheetRow(
                check=check,
                label=describe_check(check, with_mark=several),
                result=results.checks.get(check.key),
            ),
            build_history_rows(by_check.get(check.key, ())),
        )
        for check in checks
    ]


def find_check_or_stub(plan: Plan, key: str) -> Check:
    """Return a check by its key; a stub where a later plan no longer has it."""
    try:
        return find_check(plan, key)
    except UnknownCheckError:
        stub = CheckKey(key)
        return Check(key=stub, kind=stub.kind, mark=stub.mark, rods=stub.rods)


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingChance:
    """How likely a finding is right, and the second reading that would tell best.

    Attributes
    ----------
    worst : label of its check that is least likely within its limit.
    probability : that this check is within its limit. [1]
    second_label : label of the check to read; empty where no reading is worth taking.
    second : how to read it, and what that would do.
    """

    worst: str
    probability: float
    second_label: str = ""
    second: SecondReadingResult | None = None

    @property
    def probability_text(self) -> str:
        """Write the probability; only a certain one as 0% or 100%."""
        return format_probability(self.probability)


def find_chance(finding: Finding) -> FindingChance | None:
    """Find how likely a finding is right; None where no probability is known."""
    row = ResultView(finding.evaluation.result).get_finding(finding.topic)
    worst, probability = (
        (row.get("worst_check"), row.get("probability")) if row else (None, None)
    )
    if row is None or worst is None or probability is None:
        return None
    plan = load_plan(finding.evaluation.revision)

    def label(key: str) -> str:
        return describe_check(find_check_or_stub(plan, key), with_mark=True)

    second = row.get("second_reading")
    return FindingChance(
        worst=label(worst),
        probability=probability,
        second_label=label(second["check"]) if second else "",
        second=second,
    )


def list_ruled_out(finding: Finding) -> list[dict[str, str]]:
    """List the remedies that were ruled out for a finding, with the reasons."""
    for row in finding.evaluation.result["findings"]:
        if row["finding"] == finding.topic:
            return [
                {"label": get_remedy_label(item["remedy"]), "reason": item["reason"]}
                for item in row.get("ruled_out", [])
            ]
    return []


def list_consequences(finding: Finding) -> list[str]:
    """List what follows from a finding and is no finding of its own, as labels."""
    row = ResultView(finding.evaluation.result).get_finding(finding.topic)
    topics = row.get("consequences", []) if row else []
    return [describe_topic(topic) for topic in topics]


def list_finding_limits(finding: Finding) -> list[LimitRow]:
    """List the limits a finding was judged by, with their sources."""
    return list_topic_limits(finding.topic, finding.evaluation.result["tolerances"])
