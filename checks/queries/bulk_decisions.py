"""Several findings side by side, to be decided together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Max, prefetch_related_objects

from checks.labels import describe_check, describe_remedy
from checks.models import Finding, FindingEvent, Reading
from checks.queries.finding_groups import QueueRow
from checks.queries.limit_rows import LimitRow, list_topic_limits
from checks.queries.remedy_explanations import (
    RemedyContext,
    Step,
    explain_remedy,
    summarise_remedy,
)
from checks.queries.remedy_values import LabelledValue
from checks.queries.review import find_check_or_stub
from core.models import Person
from jobs.plans.plan_cache import load_plan

KINDS_WITHOUT_LENGTH = frozenset({"strength", "benchmark"})  # nothing it is off by
FAILING = ("outside", "remeasure")
MAX_LISTED_CHECKS = 3  # checks of one finding; the rest is on its own page


@dataclass(frozen=True, slots=True, kw_only=True)
class FailingCheckRow:
    """A check that is out.

    Attributes
    ----------
    words : what was measured; empty where the finding says it already.
    off : the deviation in mm, None where there is none or it is no length.
    entered : the standing readings as typed, with who measured.
    """

    label: str
    deviation: float | None
    verdict: str
    entered: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingColumn:
    """One of several findings, with what is its own.

    Attributes
    ----------
    rows : the checks of it that are out, the first few.
    more : how many more checks are out.
    remedy, figures, steps : the first remedy that is more than measuring again.
    own : whether whoever looks took readings of it, and cannot decide.
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
    """Prepare findings of one building for one page, in as many queries as for one."""
    findings = [member.finding for member in members]
    # Once for all of them: findings of one building share their evaluation.
    prefetch_related_objects(findings, "evaluation__revision")
    read = _load_current_readings(findings)
    return [_build_column(member, read, member.finding.pk in own) for member in members]


def _build_column(
    member: QueueRow, readings: dict[str, list[str]], own: bool
) -> FindingColumn:
    finding = member.finding
    evaluation = finding.evaluation
    result = evaluation.result
    keys = set(finding.checks)
    out = [
        row
        for row in result["checks"]
        if row["check"] in keys and row["verdict"] in FAILING
    ]
    case = RemedyContext(
        mark=finding.topic.partition(":")[2],
        plan=load_plan(evaluation.revision),
        result=result,
    )
    remedy = next(
        (row for row in finding.remedies if row["remedy"] != "remeasure"),
        finding.remedies[0],
    )
    return FindingColumn(
        queue_row=member,
        failing_checks=tuple(
            _build_failing_row(row, finding, case, readings)
            for row in out[:MAX_LISTED_CHECKS]
        ),
        unlisted_count=max(len(out) - MAX_LISTED_CHECKS, 0),
        remedy=describe_remedy(remedy),
        values=tuple(summarise_remedy(remedy)),
        steps=explain_remedy(remedy, case),
        is_own=own,
    )


def _build_failing_row(
    row: Mapping[str, Any],
    finding: Finding,
    context: RemedyContext,
    readings: dict[str, list[str]],
) -> FailingCheckRow:
    key = row["check"]
    return FailingCheckRow(
        label=""
        if key == finding.topic
        else describe_check(find_check_or_stub(context.plan, key)),
        deviation=None if row["kind"] in KINDS_WITHOUT_LENGTH else row.get("deviation"),
        verdict=row["verdict"],
        entered="; ".join(readings.get(key, ())),
    )


def _load_current_readings(findings: Sequence[Finding]) -> dict[str, list[str]]:
    """Give the standing readings of the findings' checks, as typed and by whom."""
    keys = {key for finding in findings for key in finding.checks}
    readings = (
        Reading.objects.filter(building=findings[0].building_id, check_key__in=keys)
        .current()
        .select_related("recorded_by")
        .order_by("pk")
    )
    read: dict[str, list[str]] = {}
    for reading in readings:
        text = f"{reading.entered}, {reading.crew or reading.recorded_by}"
        read.setdefault(reading.check_key, []).append(text)
    return read


def get_last_events(findings: Sequence[Finding]) -> dict[int, int]:
    """Give the last event of each finding, which whoever signs has seen."""
    rows = (
        FindingEvent.objects.filter(finding__in=findings)
        .order_by()
        .values("finding")
        .annotate(last=Max("pk"))
    )
    return {row["finding"]: row["last"] for row in rows}


def list_shared_limits(findings: Sequence[Finding]) -> list[LimitRow]:
    """Give the limits these findings were judged by, each once."""
    shown: dict[LimitRow, None] = {}
    for finding in findings:
        tolerances = finding.evaluation.result["tolerances"]
        shown |= dict.fromkeys(list_topic_limits(finding.topic, tolerances))
    return list(shown)


def get_chosen_findings(
    person: Person, building: int, pks: Sequence[str]
) -> list[Finding]:
    """Fetch those of these findings that are of the building, in the order opened."""
    numbers = [int(pk) for pk in pks if pk.isdecimal() and len(pk) < 18]
    findings = Finding.objects.visible_to(person).filter(
        building=building, pk__in=numbers
    )
    return list(findings.select_related("building__job").order_by("opened_at", "pk"))
