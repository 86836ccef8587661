"""Several findings side by side, to be decided together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Max, prefetch_related_objects

from checks.models import Finding, FindingEvent, Reading
from checks.queries.alike import Queued
from checks.queries.arithmetic import Case, Step, headline_of, steps_of
from checks.queries.limits import LimitShown, limits_of
from checks.queries.review import check_on
from checks.wording import Figure, check_words, order_words
from core.models import Person
from jobs.plans import plan_of

NO_LENGTH = frozenset({"strength", "benchmark"})  # nothing it is off by
BAD = ("outside", "remeasure")
TOLD = 3  # checks of one finding; the rest is on its own page


@dataclass(frozen=True, slots=True, kw_only=True)
class Out:
    """A check that is out.

    Attributes
    ----------
    words : what was measured; empty where the finding says it already.
    off : the deviation in mm, None where there is none or it is no length.
    entered : the standing readings as typed, with who measured.
    """

    words: str
    off: float | None
    verdict: str
    entered: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One of several findings, with what is its own.

    Attributes
    ----------
    rows : the checks of it that are out, the first few.
    more : how many more checks are out.
    remedy, figures, steps : the first remedy that is more than measuring again.
    own : whether whoever looks took readings of it, and cannot decide.
    """

    queued: Queued
    rows: tuple[Out, ...]
    more: int
    remedy: str
    figures: tuple[Figure, ...]
    steps: tuple[Step, ...]
    own: bool


def side_by_side(members: Sequence[Queued], own: frozenset[int]) -> list[Side]:
    """Prepare findings of one building for one page, in as many queries as for one."""
    findings = [member.finding for member in members]
    # Once for all of them: findings of one building share their evaluation.
    prefetch_related_objects(findings, "evaluation__revision")
    read = _entered(findings)
    return [_side(member, read, member.finding.pk in own) for member in members]


def _side(member: Queued, read: dict[str, list[str]], own: bool) -> Side:
    finding = member.finding
    evaluation = finding.evaluation
    result = evaluation.result
    keys = set(finding.checks)
    out = [
        row
        for row in result["checks"]
        if row["check"] in keys and row["verdict"] in BAD
    ]
    case = Case(
        mark=finding.topic.partition(":")[2],
        plan=plan_of(evaluation.revision),
        result=result,
    )
    remedy = next(
        (row for row in finding.remedies if row["remedy"] != "remeasure"),
        finding.remedies[0],
    )
    return Side(
        queued=member,
        rows=tuple(_out(row, finding, case, read) for row in out[:TOLD]),
        more=max(len(out) - TOLD, 0),
        remedy=order_words(remedy),
        figures=tuple(headline_of(remedy)),
        steps=steps_of(remedy, case),
        own=own,
    )


def _out(
    row: Mapping[str, Any], finding: Finding, case: Case, read: dict[str, list[str]]
) -> Out:
    key = row["check"]
    return Out(
        words="" if key == finding.topic else check_words(check_on(case.plan, key)),
        off=None if row["kind"] in NO_LENGTH else row.get("deviation"),
        verdict=row["verdict"],
        entered="; ".join(read.get(key, ())),
    )


def _entered(findings: Sequence[Finding]) -> dict[str, list[str]]:
    """Give the standing readings of the findings' checks, as typed and by whom."""
    keys = {key for finding in findings for key in finding.checks}
    readings = (
        Reading.objects.filter(building=findings[0].building_id, check_key__in=keys)
        .standing()
        .select_related("recorded_by")
        .order_by("pk")
    )
    read: dict[str, list[str]] = {}
    for reading in readings:
        text = f"{reading.entered}, {reading.crew or reading.recorded_by}"
        read.setdefault(reading.check_key, []).append(text)
    return read


def last_events(findings: Sequence[Finding]) -> dict[int, int]:
    """Give the last event of each finding, which whoever signs has seen."""
    rows = (
        FindingEvent.objects.filter(finding__in=findings)
        .order_by()
        .values("finding")
        .annotate(last=Max("pk"))
    )
    return {row["finding"]: row["last"] for row in rows}


def limits_together(findings: Sequence[Finding]) -> list[LimitShown]:
    """Give the limits these findings were judged by, each once."""
    shown: dict[LimitShown, None] = {}
    for finding in findings:
        tolerances = finding.evaluation.result["tolerances"]
        shown |= dict.fromkeys(limits_of(finding.topic, tolerances))
    return list(shown)


def chosen_findings(person: Person, building: int, pks: Sequence[str]) -> list[Finding]:
    """Fetch those of these findings that are of the building, in the order opened."""
    numbers = [int(pk) for pk in pks if pk.isdecimal() and len(pk) < 18]
    findings = Finding.objects.visible_to(person).filter(
        building=building, pk__in=numbers
    )
    return list(findings.select_related("building__job").order_by("opened_at", "pk"))
