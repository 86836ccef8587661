"""The review queue, and all that is known of one finding."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import F, Prefetch, QuerySet

from checks.methods.catalogue import method_of
from checks.models import Decision, Finding, Reading
from checks.queries.alike import Again
from checks.queries.arithmetic import Case, Step, headline_of, steps_of
from checks.queries.limits import (
    ConditionShown,
    LimitShown,
    conditions_of,
    limits_of,
)
from checks.queries.record import Taken, taken
from checks.queries.walk import SheetRow
from checks.wording import Figure, check_words, order_words, remedy_words
from core.models import Person
from jobs.plan.model import Plan
from jobs.plan.sheet import Check, Kind, find_check
from jobs.plans import plan_of

FINDINGS_A_PAGE = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class QueueFilter:
    """Which findings the review queue shows."""

    state: str = "waiting"
    job: str = ""
    building: int | None = None
    topic: str = ""


def review_queue(
    person: Person, wanted: QueueFilter, page: str | None
) -> Page[Finding]:
    """Findings this person may see: what steel waits for first."""
    return Paginator(wanted_findings(person, wanted), FINDINGS_A_PAGE).get_page(page)


def wanted_findings(person: Person, wanted: QueueFilter) -> QuerySet[Finding]:
    """Give all that a filter lets through, what steel waits for first."""
    findings = _in_state(Finding.objects.visible_to(person), wanted.state)
    if wanted.building is not None:
        findings = findings.filter(building=wanted.building)
    if wanted.job:
        findings = findings.filter(building__job__number__icontains=wanted.job)
    if wanted.topic:
        findings = findings.filter(topic__startswith=wanted.topic)
    return findings.select_related("building__job").order_by(
        F("building__job__ship_date").asc(nulls_last=True),
        "building__job__number",
        "building",
        "opened_at",
        "pk",
    )


def _in_state(findings: Any, state: str) -> QuerySet[Finding]:
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
class RemedyShown:
    """A remedy as the page shows it, its arithmetic laid open.

    Attributes
    ----------
    index : its place among the finding's remedies as computed, which a decision names.
    method : the address of the computation behind it, empty where there is none.
    """

    index: int
    name: str
    words: str
    approval: str
    reason: str
    why_second: str
    cautions: tuple[str, ...]
    figures: tuple[Figure, ...]
    steps: tuple[Step, ...] = ()
    conditions: tuple[ConditionShown, ...] = ()
    method: str = ""


def remedies_shown(
    finding: Finding, again: Again | None = None, case: Case | None = None
) -> list[RemedyShown]:
    """Prepare a finding's remedies for the page, the proposal first.

    Parameters
    ----------
    finding : what they are for.
    again : that it was measured again for the reason it gives, and stood.
    case : what they were computed from, where their arithmetic is to be shown.
    """
    shown = [
        remedy_shown(row, index, case) for index, row in enumerate(finding.remedies)
    ]
    if again is None:
        return shown
    first, following, *rest = shown
    return [
        replace(following, why_second=""),
        replace(first, why_second=again.words),
        *rest,
    ]


def case_of(finding: Finding) -> Case:
    """Give what a finding's remedies were computed from, as last evaluated."""
    evaluation = finding.evaluation
    return Case(
        mark=finding.topic.partition(":")[2],
        plan=plan_of(evaluation.revision),
        result=evaluation.result,
    )


def remedy_shown(
    row: Mapping[str, Any], index: int = 0, case: Case | None = None
) -> RemedyShown:
    """Prepare one remedy for a page; its steps where what it came from is known."""
    return RemedyShown(
        index=index,
        name=row["remedy"],
        words=order_words(row),
        approval=row.get("approval", "engineer"),
        reason=row.get("reason", ""),
        why_second=row.get("why_second") or "",
        cautions=tuple(row.get("cautions") or ()),
        figures=tuple(headline_of(row)),
        steps=() if case is None else steps_of(row, case),
        conditions=tuple(conditions_of(row)),
        method=method_of(row),
    )


def finding_for(person: Person, pk: int) -> Finding | None:
    """Fetch a finding this person may see, with its history."""
    decisions = Decision.objects.select_related(
        "engineer", "carried_out__person"
    ).order_by("pk")
    finding: Finding | None = (
        Finding.objects.visible_to(person)
        .select_related("building__job", "evaluation__revision")
        .prefetch_related("events__person", Prefetch("decisions", decisions))
        .filter(pk=pk)
        .first()
    )
    return finding


def rows_of_finding(finding: Finding) -> list[tuple[SheetRow, list[Taken]]]:
    """Give the checks of a finding with their latest verdicts and all readings."""
    judged = {row["check"]: row for row in finding.evaluation.result["checks"]}
    read: dict[str, list[Reading]] = {}
    readings = Reading.objects.filter(
        building=finding.building, check_key__in=finding.checks
    ).select_related("recorded_by", "instrument", "supersedes", "replaced_by")
    for reading in readings.order_by("pk"):
        read.setdefault(reading.check_key, []).append(reading)
    plan = plan_of(finding.evaluation.revision)
    several = len({check_on(plan, key).mark for key in finding.checks}) > 1
    rows = []
    for key in finding.checks:
        row = SheetRow(
            check=check_on(plan, key),
            words=key,
            judged=judged.get(key),
        )
        rows.append(
            (
                replace(row, words=check_words(row.check, placed=several)),
                taken(read.get(key, ())),
            )
        )
    return rows


def check_on(plan: Plan, key: str) -> Check:
    """Give a check by its key, also one that the plan does not have any more."""
    try:
        return find_check(plan, key)
    except ValueError:
        return Check(key=key, kind=Kind(key.partition(":")[0]))


def ruled_out(finding: Finding) -> list[dict[str, str]]:
    """Say what could not be done about a finding, and why."""
    for row in finding.evaluation.result["findings"]:
        if row["finding"] == finding.topic:
            return [
                {"words": remedy_words(item["remedy"]), "reason": item["reason"]}
                for item in row.get("ruled_out", [])
            ]
    return []


def limits_shown(finding: Finding) -> list[LimitShown]:
    """Give the limits a finding was judged by, with their sources."""
    return limits_of(finding.topic, finding.evaluation.result["tolerances"])
