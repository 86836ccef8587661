"""A building's plan with its latest result: what the drawn pages read."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

from checks.drawings.result_view import VERDICTS, ResultView
from checks.labels import describe_check, describe_topic
from checks.models import Evaluation, Finding
from checks.queries.building_tables import (
    build_length_rows,
    build_move_rows,
    build_rule_rows,
    get_adjusted_outline,
)
from checks.queries.finding_groups import find_remeasurement
from checks.queries.review import RemedyDetails, list_remedies
from core.models import Person
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet, find_check
from jobs.anchor_plan.values import Plan, Position
from jobs.models import Building, PlanRevision
from jobs.plans.plan_cache import load_plan

MAX_FIRST_CHECKS = 6  # named where nothing is measured yet
KIND_LABELS = {
    CheckKind.DIAGONAL: "diagonals",
    CheckKind.WALL: "walls",
    CheckKind.LINE: "reference lines",
    CheckKind.SETBACK: "setbacks",
    CheckKind.OFFSET: "offsets",
    CheckKind.GAGE: "gages",
    CheckKind.PROJECTION: "projections",
    CheckKind.LEVEL: "levels",
    CheckKind.BENCHMARK: "benchmarks",
    CheckKind.STRENGTH: "strength samples",
    CheckKind.NOTCH_WIDTH: "notch widths",
    CheckKind.NOTCH_DEPTH: "notch depths",
    CheckKind.PLUMB: "plumb",
}


@dataclass(frozen=True, kw_only=True)
class EvaluatedPlan:
    """A building, its plan in force, and what was computed of it.

    Attributes
    ----------
    evaluation : the newest, None while there is none of the plan in force.
    judged : its result by name; empty while there is none.
    """

    building: Building
    revision: PlanRevision
    plan: Plan
    evaluation: Evaluation | None
    results: ResultView

    @property
    def result(self) -> Mapping[str, Any] | None:
        """The result document, None where nothing has been measured."""
        return self.results.result

    @property
    def levels(self) -> Mapping[str, Any]:
        """The result's levels; empty where there are none."""
        return (self.result or {}).get("levels") or {}


def get_evaluated_plan(person: Person, pk: int) -> EvaluatedPlan | None:
    """Fetch a building this person may see, with its plan and latest result."""
    building = (
        Building.objects.visible_to(person).select_related("job").filter(pk=pk).first()
    )
    return None if building is None else load_evaluated_plan(building)


def load_evaluated_plan(building: Building) -> EvaluatedPlan:
    """Fetch a building's plan in force and the latest result of it."""
    revision = building.current_revision()
    evaluation = (
        Evaluation.objects.filter(building=building, revision=revision)
        .order_by("-pk")
        .first()
    )
    measured = evaluation is not None and any(
        check["verdict"] != "unmeasured" for check in evaluation.result["checks"]
    )
    return EvaluatedPlan(
        building=building,
        revision=revision,
        plan=load_plan(revision),
        evaluation=evaluation,
        results=ResultView(evaluation.result if evaluation and measured else None),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class KindRow:
    """How many checks of a kind have each verdict."""

    label: str
    counts: tuple[tuple[str, int], ...]
    total: int


def build_kind_rows(judged: ResultView) -> list[KindRow]:
    """Count the verdicts of each kind of check, kinds in the order of the walk."""
    counts = judged.count_verdicts()
    return [
        KindRow(
            label=label,
            counts=tuple((verdict, counts[kind][verdict]) for verdict in VERDICTS),
            total=counts[kind].total(),
        )
        for kind, label in KIND_LABELS.items()
        if kind in counts
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionRow:
    """One position in numbers. [mm]"""

    mark: str
    wall_name: str
    verdict: str
    shift_along: float | None
    shift_in: float | None
    worst_miss: float | None
    fits: bool | None
    height: float | None
    level: str


def build_position_rows(plan: Plan, judged: ResultView) -> list[PositionRow]:
    """Every position of the plan in numbers, in the plan's order."""
    return [_build_position_row(position, judged) for position in plan.positions]


def _build_position_row(position: Position, judged: ResultView) -> PositionRow:
    entry = judged.positions.get(position.mark, {})
    pad = judged.pads.get(position.mark, {})
    misses = [
        rod["miss"] for rod in entry.get("rods", []) if rod.get("miss") is not None
    ]
    plate_fit = entry.get("plate_fit")
    return PositionRow(
        mark=position.mark,
        wall_name="-".join(position.wall) if position.wall else "inside",
        verdict=judged.get_position_verdict(position.mark),
        shift_along=entry.get("shift_along"),
        shift_in=entry.get("shift_in"),
        worst_miss=max(misses, default=None),
        fits=plate_fit["fits"] if plate_fit else None,
        height=pad.get("height"),
        level=pad.get("verdict") or "unmeasured",
    )


def list_first_checks(plan: Plan) -> list[str]:
    """What a crew measures first, in words: the start of the walk."""
    required = (check for check in build_check_sheet(plan) if check.required)
    return [describe_check(check) for check in islice(required, MAX_FIRST_CHECKS)]


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingRow:
    """One open finding in a line, with its remedies where they are shown."""

    finding: Finding
    label: str
    proposal: str
    remedies: tuple[RemedyDetails, ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """The cautions of all its remedies, each once."""
        return tuple(dict.fromkeys(c for r in self.remedies for c in r.cautions))


def list_open_findings(building: Building, *topics: str) -> list[FindingRow]:
    """The building's open findings, of some topics only where any are named."""
    findings = Finding.objects.filter(building=building).open()
    if topics:
        findings = findings.filter(topic__in=topics)
    rows = []
    for finding in findings.prefetch_related("events").order_by("opened_at", "pk"):
        again = find_remeasurement(finding, finding.events.all())
        remedies = list_remedies(finding, again)
        rows.append(
            FindingRow(
                finding=finding,
                label=describe_topic(finding.topic),
                proposal=remedies[0].label if remedies else "",
                remedies=tuple(remedies),
            )
        )
    return rows


@dataclass(frozen=True, slots=True, kw_only=True)
class RodRow:
    """One rod in numbers. [mm]"""

    rod: int
    verdict: str
    planned_along: float
    planned_in: float
    along: float | None
    inward: float | None
    d_along: float | None
    d_in: float | None
    miss: float | None
    projection: Mapping[str, Any] | None


def build_rod_rows(plan: Plan, position: Position, judged: ResultView) -> list[RodRow]:
    """Every rod of a position, planned and as built."""
    entry = judged.positions.get(position.mark, {})
    built = {rod["rod"]: rod for rod in entry.get("rods", [])}
    return [
        RodRow(
            rod=rod.number,
            verdict=found.get("verdict") or "unmeasured",
            planned_along=rod.along,
            planned_in=rod.inward,
            along=found.get("along"),
            inward=found.get("in"),
            d_along=found.get("d_along"),
            d_in=found.get("d_in"),
            miss=found.get("miss"),
            projection=judged.checks.get(f"projection:{position.mark}.{rod.number}"),
        )
        for rod, found in _pair_rods(plan, position, built)
    ]


def _pair_rods(
    plan: Plan, position: Position, built: Mapping[int, dict[str, Any]]
) -> Iterator[tuple[Any, dict[str, Any]]]:
    for rod in plan.details[position.detail].rods:
        yield rod, built.get(rod.number, {})


def get_neighbours(plan: Plan, mark: str) -> tuple[str, str]:
    """The marks before and after one on the plan; empty at either end."""
    marks = ["", *(position.mark for position in plan.positions), ""]
    at = marks.index(mark)
    return marks[at - 1], marks[at + 1]


@dataclass(frozen=True, slots=True, kw_only=True)
class PadRow:
    """One pad in numbers. [mm]"""

    mark: str
    wall_name: str
    verdict: str
    height: float | None
    shim: float | None
    stack: tuple[str, ...]
    residual: float | None
    thread_left: float | None

    @property
    def low_by(self) -> float | None:
        """How far below the highest pad. [mm]"""
        return None if self.height is None else -self.height

    @property
    def refer(self) -> bool:
        """Whether no stack of shims is proposed for a pad that is too low."""
        return self.verdict == "outside" and not self.stack


def build_pad_rows(plan: Plan, judged: ResultView) -> list[PadRow]:
    """Every pad of the plan, in the plan's order."""
    return [
        PadRow(
            mark=position.mark,
            wall_name="-".join(position.wall) if position.wall else "inside",
            verdict=pad["verdict"],
            height=pad["height"],
            shim=pad.get("shim"),
            stack=tuple(pad.get("stack") or ()),
            residual=pad.get("residual"),
            thread_left=pad.get("thread_left"),
        )
        for position in plan.positions
        if (pad := judged.pads.get(position.mark)) is not None
    ]


def build_building_tables(found: EvaluatedPlan) -> dict[str, Any]:
    """What the building's page shows in numbers."""
    lengths = build_length_rows(found.plan, found.result or {})
    return {
        "kinds": build_kind_rows(found.results),
        "positions": build_position_rows(found.plan, found.results),
        "lengths": lengths,
        "suspects": [row.label for row in lengths if row.suspect],
        "rules": build_rule_rows(found.result or {}),
        "moves": build_move_rows(found.result or {}),
        "adjusted": get_adjusted_outline(found.result or {}),
        "square_note": found.results.squareness.get("note"),
        "findings": list_open_findings(found.building),
    }


def list_position_checks(
    found: EvaluatedPlan, mark: str
) -> list[tuple[str, Mapping[str, Any]]]:
    """Every check of a position that was read, in the order of the walk."""
    return [
        (describe_check(find_check(found.plan, key)), row)
        for key, row in found.results.checks.items()
        if row.get("mark") == mark and row["readings"]
    ]


def build_position_tables(found: EvaluatedPlan, place: Position) -> dict[str, Any]:
    """What a position's page shows in numbers, and the remedies of its findings."""
    mark, judged = place.mark, found.results
    entry = judged.positions.get(mark, {})
    plate_fit = entry.get("plate_fit")
    topics = [f"{kind}:{mark}" for kind in ("position", "projection", "level")]
    return {
        "detail": found.plan.details[place.detail],
        "plate_fit": plate_fit,
        "slack": abs(plate_fit["overrun"]) if plate_fit else None,
        "verdict": judged.get_position_verdict(mark),
        "rods": build_rod_rows(found.plan, place, judged),
        "line": judged.checks.get(f"line:{mark}"),
        "pad": judged.pads.get(mark),
        "checks": list_position_checks(found, mark),
        "findings": list_open_findings(found.building, *topics),
        "neighbours": get_neighbours(found.plan, mark),
    }


def build_shim_tables(found: EvaluatedPlan) -> dict[str, Any]:
    """Where shims go, which pads are the engineer's, and what is not levelled."""
    pads = build_pad_rows(found.plan, found.results)
    return {
        "pads": pads,
        "shimmed": [pad for pad in pads if pad.stack],
        "referred": [pad for pad in pads if pad.refer],
        "unmeasured": [pad for pad in pads if pad.height is None],
        "levels": found.levels,
    }
