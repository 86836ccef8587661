"""A building as a whole: its figure, rules on groups, moves of the steel.

A result that an earlier version stored may lack what a later one tells.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from checks.labels import describe_check, describe_remedy, describe_topic
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import find_check
from jobs.anchor_plan.values import Plan

Result = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class LengthRow:
    """One wall or diagonal, its verdict and what the other lengths make of it.

    Attributes
    ----------
    judged : its entry among the result's checks.
    residual : adjusted less read; None where there is no figure. [mm]
    w : over its own standard deviation; None where no other length checks it.
    suspect : whether the others contradict it.
    """

    key: str
    label: str
    result: Result
    residual: float | None
    w: float | None
    suspect: bool


def build_length_rows(plan: Plan, result: Result) -> list[LengthRow]:
    """Walls and diagonals in the order of the walk."""
    square = result.get("squareness") or {}
    adjusted = {row["check"]: row for row in square.get("lengths", ())}
    suspects = {row["check"] for row in square.get("suspect_readings", ())}
    return [
        LengthRow(
            key=row["check"],
            label=describe_check(find_check(plan, row["check"])),
            result=row,
            residual=adjusted.get(row["check"], {}).get("residual"),
            w=adjusted.get(row["check"], {}).get("w"),
            suspect=row["check"] in suspects,
        )
        for row in result["checks"]
        if row["check"].partition(":")[0] in (CheckKind.DIAGONAL, CheckKind.WALL)
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class AdjustedOutline:
    """The outline by least squares: corners off the plan. [mm, mrad]

    `spare` is by how many lengths more were read than the figure needs.
    """

    skew_mrad: float | None
    redundancy: int | None
    variance: float | None
    corners: list[Result]


def get_adjusted_outline(result: Result) -> AdjustedOutline | None:
    """Give the adjusted figure; None where there is none."""
    square = result.get("squareness") or {}
    if not square.get("corners"):
        return None
    lean = square.get("lean")
    return AdjustedOutline(
        skew_mrad=None if lean is None else lean * 1000.0,
        redundancy=square.get("degrees_of_freedom"),
        variance=square.get("reference_variance"),
        corners=square["corners"],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleRow:
    """One rule of the basis on groups of rods. [mm]"""

    label: str
    between: str
    deviation: float
    limit: float
    source: str
    verdict: str


def build_rule_rows(result: Result) -> dict[str, list[RuleRow]]:
    """Rules on groups by their verdict: `outside`, `unmeasured` or `within`."""
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
        verdict: [row for row in rows if row.verdict == verdict]
        for verdict in ("outside", "unmeasured", "within")
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveRow:
    """One move of the steel that would leave fewer positions to rework. [mm, mrad]

    `positions` are those whose plate the move lets on, or keeps off.
    """

    label: str
    shift_x: float
    shift_y: float
    turn: float
    before: int
    after: int
    proven: bool
    positions: list[Result]


def build_move_rows(result: Result) -> list[MoveRow]:
    """Moves of the steel, the whole steel's first."""
    return list(_iter_moves(result))


def _iter_moves(result: Result) -> Iterator[MoveRow]:
    for row in result.get("steel_shifts", ()):
        yield MoveRow(
            label=describe_remedy({"remedy": "shift", "scope": row["scope"]}),
            shift_x=row["shift_x"],
            shift_y=row["shift_y"],
            turn=row["turn"] * 1000.0,
            before=row["rework_before"],
            after=row["rework_after"],
            proven=row["proven"],
            positions=[
                each
                for each in row["positions"]
                if each["rework_before"] or each["rework_after"]
            ],
        )
