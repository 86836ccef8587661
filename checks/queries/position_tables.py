"""Tables of positions, rods, pads and shims, for pages and reports."""

from dataclasses import dataclass
from typing import Any

from checks.drawings.result_view import ResultView
from checks.evaluation.finding_topics import FindingTopic, TopicKind
from checks.labels import describe_check
from checks.queries.evaluated_plan import EvaluatedPlan
from checks.queries.open_findings import list_open_findings
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.check_sheet import find_check
from jobs.anchor_plan.values import Plan, Position
from jobs.exchange.result.document import CheckResult, RodResult

POSITION_TOPICS = (TopicKind.POSITION, TopicKind.PROJECTION, TopicKind.LEVEL)


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionRow:
    """One position in numbers. [mm]"""

    mark: str
    wall_name: str
    verdict: Verdict
    shift_along: float | None
    shift_in: float | None
    worst_miss: float | None
    fits: bool | None
    height: float | None
    level: Verdict


def build_position_rows(plan: Plan, results: ResultView) -> list[PositionRow]:
    """Build a row for every position, in the order of the plan."""
    return [_build_position_row(position, results) for position in plan.positions]


def _build_position_row(position: Position, results: ResultView) -> PositionRow:
    entry = results.positions.get(position.mark)
    pad = results.pads.get(position.mark)
    misses = [
        miss
        for rod in results.get_rods(position.mark)
        if (miss := rod.get("miss")) is not None
    ]
    plate_fit = results.get_plate_fit(position.mark)
    return PositionRow(
        mark=position.mark,
        wall_name=get_wall_name(position),
        verdict=results.get_position_verdict(position.mark),
        shift_along=entry.get("shift_along") if entry else None,
        shift_in=entry.get("shift_in") if entry else None,
        worst_miss=max(misses, default=None),
        fits=plate_fit["fits"] if plate_fit else None,
        height=pad["height"] if pad else None,
        level=Verdict(pad["verdict"]) if pad else Verdict.UNMEASURED,
    )


def get_wall_name(position: Position) -> str:
    """Return the name of a position's wall; "inside" for one at a point."""
    return "-".join(position.wall) if position.wall else "inside"


@dataclass(frozen=True, slots=True, kw_only=True)
class RodRow:
    """One rod in numbers. [mm]"""

    rod: int
    verdict: Verdict
    planned_along: float
    planned_in: float
    along: float | None
    inward: float | None
    d_along: float | None
    d_in: float | None
    miss: float | None
    projection: CheckResult | None


def build_rod_rows(plan: Plan, position: Position, results: ResultView) -> list[RodRow]:
    """Build a row for every rod of a position, as planned and as built."""
    built = {rod["rod"]: rod for rod in results.get_rods(position.mark)}
    # A rod without any reading is not in the result.
    unmeasured: RodResult = {"rod": 0, "verdict": Verdict.UNMEASURED}
    rows = []
    for rod in plan.details[position.detail].rods:
        found = built.get(rod.number, unmeasured)
        key = CheckKey.for_rod(CheckKind.PROJECTION, position.mark, rod.number)
        rows.append(
            RodRow(
                rod=rod.number,
                verdict=Verdict(found["verdict"]),
                planned_along=rod.along,
                planned_in=rod.inward,
                along=found.get("along"),
                inward=found.get("in"),
                d_along=found.get("d_along"),
                d_in=found.get("d_in"),
                miss=found.get("miss"),
                projection=results.checks.get(key),
            )
        )
    return rows


@dataclass(frozen=True, slots=True, kw_only=True)
class PadRow:
    """One pad in numbers. [mm]"""

    mark: str
    wall_name: str
    verdict: Verdict
    as_read: float | None
    height: float | None
    shim: float | None
    stack: tuple[str, ...]
    residual: float | None
    thread_left: float | None

    @property
    def low_by(self) -> float | None:
        """Distance below the highest pad. [mm]"""
        return None if self.height is None else -self.height

    @property
    def refer(self) -> bool:
        """True where a pad is too low and no stack of shims is proposed for it."""
        return self.verdict == Verdict.OUTSIDE and not self.stack


def build_pad_rows(plan: Plan, results: ResultView) -> list[PadRow]:
    """Build a row for every levelled pad, in the order of the plan."""
    return [
        PadRow(
            mark=position.mark,
            wall_name=get_wall_name(position),
            verdict=Verdict(pad["verdict"]),
            as_read=pad.get("as_read"),
            height=pad["height"],
            shim=pad.get("shim"),
            stack=tuple(pad.get("stack") or ()),
            residual=pad.get("residual"),
            thread_left=pad.get("thread_left"),
        )
        for position in plan.positions
        if (pad := results.pads.get(position.mark)) is not None
    ]


def get_neighbours(plan: Plan, mark: str) -> tuple[str, str]:
    """Return the marks before and after one on the plan; empty at either end."""
    marks = ["", *(position.mark for position in plan.positions), ""]
    index = marks.index(mark)
    return marks[index - 1], marks[index + 1]


def list_position_checks(
    evaluated: EvaluatedPlan, mark: str
) -> list[tuple[str, CheckResult]]:
    """List the checks of a position that were read, in the order of the walk."""
    return [
        (describe_check(find_check(evaluated.plan, key)), row)
        for key, row in evaluated.results.checks.items()
        if row.get("mark") == mark and row.get("readings")
    ]


def build_position_tables(
    evaluated: EvaluatedPlan, position: Position
) -> dict[str, Any]:
    """Build the tables of a position's page, with the remedies of its findings."""
    mark, results = position.mark, evaluated.results
    entry = results.positions.get(mark)
    free = entry.get("plate_fit") if entry else None
    plate_fit = results.get_plate_fit(mark)
    overrun = plate_fit["overrun"] if plate_fit else None
    line = CheckKey.for_position(CheckKind.LINE, mark)
    topics = [FindingTopic.for_subject(kind, mark) for kind in POSITION_TOPICS]
    return {
        "detail": evaluated.plan.details[position.detail],
        "plate_fit": plate_fit,
        "rods_note": entry.get("note") if entry else None,
        "fits_only_beyond": bool(
            free and plate_fit and free["fits"] and not plate_fit["fits"]
        ),
        "slack": None if overrun is None else abs(overrun),
        "verdict": results.get_position_verdict(mark),
        "rods": build_rod_rows(evaluated.plan, position, results),
        "line": results.checks.get(line),
        "pad": results.pads.get(mark),
        "checks": list_position_checks(evaluated, mark),
        "findings": list_open_findings(evaluated.building, *topics),
        "neighbours": get_neighbours(evaluated.plan, mark),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class ShimTables:
    """Pads by what is done with them, for the shim plan."""

    pads: list[PadRow]
    shimmed: list[PadRow]
    referred: list[PadRow]  # too low for shims: the engineer decides
    unmeasured: list[PadRow]


def build_shim_tables(evaluated: EvaluatedPlan) -> ShimTables:
    """Group the pads into those to shim, those for the engineer and those unread."""
    pads = build_pad_rows(evaluated.plan, evaluated.results)
    return ShimTables(
        pads=pads,
        shimmed=[pad for pad in pads if pad.stack],
        referred=[pad for pad in pads if pad.refer],
        unmeasured=[pad for pad in pads if pad.height is None],
    )
