"""Tables of a building's page: lengths, verdicts, rules on groups, moves of steel."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any

from checks.drawings.result_view import ResultView
from checks.engine.conformity import COVERAGE_FACTOR
from checks.labels import describe_check, describe_remedy, describe_topic
from checks.queries.evaluated_plan import EvaluatedPlan
from checks.queries.open_findings import list_open_findings
from checks.queries.position_tables import build_position_rows
from core.vocabulary import RemedyKind, Verdict
from jobs.anchor_plan.check_keys import CheckKind, kind_of
from jobs.anchor_plan.check_sheet import build_check_sheet, find_check
from jobs.anchor_plan.values import Plan
from jobs.exchange.result.document import (
    AdjustedCornerResult,
    CheckResult,
    ResultDocument,
    SquarenessResult,
)
from jobs.exchange.result.findings import ShiftedPositionResult
from jobs.plans.plan_preview import CHECK_KIND_LABELS

MAX_FIRST_CHECKS = 6  # listed while nothing has been measured
RULE_VERDICTS = (Verdict.OUTSIDE, Verdict.UNMEASURED, Verdict.WITHIN)


@dataclass(frozen=True, slots=True, kw_only=True)
class KindRow:
    """Number of checks of one kind that have each verdict."""

    label: str
    counts: tuple[tuple[Verdict, int], ...]
    total: int


def build_kind_rows(results: ResultView) -> list[KindRow]:
    """Count the verdicts of each kind of check, kinds in the order of the walk."""
    counts = results.count_verdicts()
    return [
        KindRow(
            label=CHECK_KIND_LABELS[kind][1],
            counts=tuple((verdict, counts[kind][verdict]) for verdict in Verdict),
            total=counts[kind].total(),
        )
        for kind in CheckKind
        if kind in counts
    ]


def list_first_checks(plan: Plan) -> list[str]:
    """List the first required checks of the walk, as labels."""
    required = (check for check in build_check_sheet(plan) if check.required)
    return [describe_check(check) for check in islice(required, MAX_FIRST_CHECKS)]


@dataclass(frozen=True, slots=True, kw_only=True)
class NextReadingRow:
    """One reading to take next: the check, and why."""

    check: str
    label: str
    reason: str


def build_next_reading_rows(evaluated: EvaluatedPlan) -> list[NextReadingRow]:
    """Build a row for every reading to take next, the best first."""
    return [
        NextReadingRow(
            check=row["check"],
            label=describe_check(
                find_check(evaluated.plan, row["check"]), with_mark=True
            ),
            reason=row["reason"],
        )
        for row in evaluated.results.next_readings
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class LengthRow:
    """One wall or diagonal, with its verdict and the result of the adjustment.

    Attributes
    ----------
    result : CheckResult
        Its entry among the checks.
    residual : float or None
        Adjusted minus observed; None where there is no adjustment. [mm]
    w : float or None
        Residual over its own standard deviation; None where no other length checks it.
    suspect : bool
        True where the other lengths contradict it.
    """

    key: str
    label: str
    result: CheckResult
    residual: float | None
    w: float | None
    suspect: bool


def build_length_rows(plan: Plan, result: ResultDocument) -> list[LengthRow]:
    """Build a row for every wall and diagonal, in the order of the walk."""
    square = result["squareness"]
    adjusted = (
        {row["check"]: row for row in square.get("lengths", ())} if square else {}
    )
    suspects = square.get("suspect_readings", ()) if square else ()
    suspect_keys = {row["check"] for row in suspects}
    rows = []
    for check in result["checks"]:
        key = check["check"]
        if kind_of(key) not in (CheckKind.DIAGONAL, CheckKind.WALL):
            continue
        length = adjusted.get(key)
        rows.append(
            LengthRow(
                key=key,
                label=describe_check(find_check(plan, key)),
                result=check,
                residual=length.get("residual") if length else None,
                w=length.get("w") if length else None,
                suspect=key in suspect_keys,
            )
        )
    return rows


@dataclass(frozen=True, slots=True, kw_only=True)
class AdjustedOutline:
    """The outline adjusted by least squares.

    Attributes
    ----------
    skew : float or None
        Skew of the built outline against the plan. [rad]
    redundancy : int or None
        Lengths read minus unknowns.
    variance : float or None
        Reference variance, a posteriori.
    corners : list
        Shifts of the corners, plan axes. [mm]
    """

    skew: float | None
    redundancy: int | None
    variance: float | None
    corners: list[AdjustedCornerResult]


def get_adjusted_outline(result: ResultDocument) -> AdjustedOutline | None:
    """Return the adjusted outline; None where the lengths do not fix one."""
    square = result["squareness"]
    corners = square.get("corners") if square else None
    if not square or not corners:
        return None
    skew = square.get("lean")
    return AdjustedOutline(
        skew=skew,
        redundancy=square.get("degrees_of_freedom"),
        variance=square.get("reference_variance"),
        corners=corners,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleRow:
    """One rule of the basis on groups of rods. [mm]"""

    label: str
    between: str
    deviation: float | None
    limit: float | None
    source: str
    verdict: str


def build_rule_rows(result: ResultDocument) -> dict[str, list[RuleRow]]:
    """Group the rules on groups of rods by verdict: outside, unmeasured, within."""
    rows = [
        RuleRow(
            label=describe_topic(f"{row['rule']}:{row['where']}"),
            between=" to ".join(row["marks"]),
            deviation=row["deviation"],
            limit=row["limit"],
            source=row["source"],
            verdict=row["verdict"],
        )
        for row in result.get("group_rules", ())
    ]
    return {
        verdict.value: [row for row in rows if row.verdict == verdict]
        for verdict in RULE_VERDICTS
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveRow:
    """One move of the steel that leaves fewer positions to rework. [mm, rad]

    Attributes
    ----------
    positions : list
        Those to rework before the move, or after it.
    """

    label: str
    shift_x: float | None
    shift_y: float | None
    turn: float
    before: int
    after: int
    proven: bool
    positions: list[ShiftedPositionResult]


def build_move_rows(result: ResultDocument) -> list[MoveRow]:
    """Build a row for every proposed move of the steel, the whole steel's first."""
    return list(_iter_moves(result))


def _iter_moves(result: ResultDocument) -> Iterator[MoveRow]:
    for row in result.get("steel_shifts", ()):
        yield MoveRow(
            label=describe_remedy({"remedy": RemedyKind.SHIFT, "scope": row["scope"]}),
            shift_x=row["shift_x"],
            shift_y=row["shift_y"],
            turn=row["turn"] or 0.0,
            before=row["rework_before"],
            after=row["rework_after"],
            proven=row["proven"],
            positions=[
                each
                for each in row["positions"]
                if each["rework_before"] or each["rework_after"]
            ],
        )


def _expand_uncertainty(square: SquarenessResult | None) -> float | None:
    """Return twice the uncertainty of the difference of the diagonals. [mm]"""
    uncertainty = square.get("uncertainty") if square else None
    return None if uncertainty is None else COVERAGE_FACTOR * uncertainty


def build_building_tables(evaluated: EvaluatedPlan) -> dict[str, Any]:
    """Build the tables of a building's page; needs a result."""
    result = evaluated.result
    assert result is not None  # noqa: S101 - the page has another form without one
    lengths = build_length_rows(evaluated.plan, result)
    square = evaluated.results.squareness
    return {
        "kinds": build_kind_rows(evaluated.results),
        "positions": build_position_rows(evaluated.plan, evaluated.results),
        "lengths": lengths,
        "suspects": [row.label for row in lengths if row.suspect],
        "rules": build_rule_rows(result),
        "moves": build_move_rows(result),
        "adjusted": get_adjusted_outline(result),
        "square_note": square.get("note") if square else None,
        "square_known_to": _expand_uncertainty(square),
        "findings": list_open_findings(evaluated.building),
        "next_readings": build_next_reading_rows(evaluated),
    }
