"""The review queue, and all that is known of one finding."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import F, Prefetch, QuerySet

from checks.labels import (
    describe_check,
    describe_remedy,
    get_remedy_label,
)
from checks.methods.catalogue import find_remedy_method
from checks.models import Decision, Finding, Reading
from checks.queries.finding_groups import RemeasuredOnce
from checks.queries.limit_rows import (
    LimitRow,
    ScreenConditionRow,
    list_screen_conditions,
    list_topic_limits,
)
from checks.queries.reading_history import ReadingHistoryRow, build_history_rows
from checks.queries.remedy_explanations import (
    RemedyContext,
    Step,
    explain_remedy,
    summarise_remedy,
)
from checks.queries.remedy_values import LabelledValue
from checks.queries.walk import SheetRow
from core.models import Person
from jobs.anchor_plan.check_keys import CheckKey
from jobs.anchor_plan.check_sheet import find_check
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan
from jobs.plans.plan_cache import load_plan

FINDINGS_PER_PAGE = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class QueueFilter:
    """Which findings the review queue shows."""

    state: str = "waiting"
    job: str = ""
    building: int | None = None
    topic: str = ""


def paginate_findings(
    person: Person, filters: QueueFilter, page: str | None
) -> Page[Finding]:
    """Findings this person may see: what steel waits for first."""
    return Paginator(filter_findings(person, filters), FINDINGS_PER_PAGE).get_page(page)


def filter_findings(person: Person, filters: QueueFilter) -> QuerySet[Finding]:
    """Give all that a filter lets through, what steel waits for first."""
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


def _filter_state(findings: Any, state: str) -> QuerySet[Finding]:
    if state == "waiting":
        return findings.undecided()  # type: ignore[no-any-return]
    if state == "open":
        return findings.open()  # type: ignore[no-any-return]
    if state == "field":
        return findings.open().exclude(pk__in=findings.undecided())  # type: ignore[no-any-return]
    if state == "closed":
        return findings.exclude(closed_at=None)  # type: ignore[no-any-return]
    return findings  # type: ignore[no-any-return]


@dataclass(frozen=True, slots=True, kw_only=True)
class RemedyDetails:
    """A remedy as the page shows it, its arithmetic laid open.

    Attributes
    ----------
    index : its place among the finding's remedies as computed, which a decision names.
    method : the address of the computation behind it, empty where there is none.
    """

    index: int
    name: str
    label: str
    approval: str
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
    """Prepare a finding's remedies for the page, the proposal first.

    Parameters
    ----------
    finding : what they are for.
    again : that it was measured again for the reason it gives, and stood.
    case : what they were computed from, where their arithmetic is to be shown.
    """
    shown = [
        build_remedy_details(row, index, context)
        for index, row in enumerate(finding.remedies)
    ]
    if remeasured is None:
        return shown
    first, following, *rest = shown
    return [
        replace(following, why_second=""),
        replace(first, why_second=remeasured.text),
        *rest,
    ]


def load_remedy_context(finding: Finding) -> RemedyContext:
    """Give what a finding's remedies were computed from, as last evaluated."""
    evaluation = finding.evaluation
    return RemedyContext(
        mark=finding.topic.partition(":")[2],
        plan=load_plan(evaluation.revision),
        result=evaluation.result,
    )


def build_remedy_details(
    row: Mapping[str, Any], index: int = 0, context: RemedyContext | None = None
) -> RemedyDetails:
    """Prepare one remedy for a page; its steps where what it came from is known."""
    return RemedyDetails(
        index=index,
        name=row["remedy"],
        label=describe_remedy(row),
        approval=row.get("approval", "engineer"),
        reason=row.get("reason", ""),
        why_second=row.get("why_second") or "",
        cautions=tuple(row.get("cautions") or ()),
        values=tuple(summarise_remedy(row)),
        steps=() if context is None else explain_remedy(row, context),
        conditions=tuple(list_screen_conditions(row)),
        method=find_remedy_method(row),
    )


def get_finding(person: Person, pk: int) -> Finding | None:
    """Fetch a finding this person may see, with its history."""
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
    """Give the checks of a finding with their latest verdicts and all readings."""
    judged = {row["check"]: row for row in finding.evaluation.result["checks"]}
    read: dict[str, list[Reading]] = {}
    readings = Reading.objects.filter(
        building=finding.building, check_key__in=finding.checks
    ).select_related("recorded_by", "instrument", "supersedes", "replaced_by")
    for reading in readings.order_by("pk"):
        read.setdefault(reading.check_key, []).append(reading)
    plan = load_plan(finding.evaluation.revision)
    several = len({find_check_or_stub(plan, key).mark for key in finding.checks}) > 1
    rows = []
    for key in finding.checks:
        row = SheetRow(
            check=find_check_or_stub(plan, key),
            label=key,
            result=judged.get(key),
        )
        rows.append(
            (
                replace(row, label=describe_check(row.check, with_mark=several)),
                build_history_rows(read.get(key, ())),
            )
        )
    return rows


def find_check_or_stub(plan: Plan, key: str) -> Check:
    """Give a check by its key, also one that the plan does not have any more."""
    try:
        return find_check(plan, key)
    except ValueError:
        stub = CheckKey(key)
        return Check(key=stub, kind=stub.kind, mark=stub.mark, rods=stub.rods)


def list_ruled_out(finding: Finding) -> list[dict[str, str]]:
    """Say what could not be done about a finding, and why."""
    for row in finding.evaluation.result["findings"]:
        if row["finding"] == finding.topic:
            return [
                {"words": get_remedy_label(item["remedy"]), "reason": item["reason"]}
                for item in row.get("ruled_out", [])
            ]
    return []


def list_finding_limits(finding: Finding) -> list[LimitRow]:
    """Give the limits a finding was judged by, with their sources."""
    return list_topic_limits(finding.topic, finding.evaluation.result["tolerances"])
