"""Squareness of the outline: adjusted corners, suspect readings, corner moves."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checks.engine import corner_moves, outline
from checks.engine.arrays import FloatArray, IntArray
from checks.engine.conformity import COVERAGE_FACTOR, SLACK_MM
from checks.engine.constants import FOOT_MM
from checks.engine.distance_network import AdjustmentOutcome
from checks.engine.errors import DegenerateGeometryError
from checks.evaluation.check_table import CheckTable
from checks.evaluation.json_values import to_json_number
from checks.evaluation.reduce_readings import Observations
from checks.tolerances.limits import ToleranceLimits
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.check_sheet import find_check
from jobs.anchor_plan.geometry import outline_points
from jobs.anchor_plan.values import Plan
from jobs.exchange.result.document import (
    AdjustedCornerResult,
    AdjustedLengthResult,
    SquarenessResult,
    SuspectReadingResult,
)
from jobs.exchange.result.findings import CornerMoveResult

MAX_MOVE_SHARE = 0.02
"""Share of the longest wall that concrete may be out of square. Project choice."""

NO_OUTLINE_REASONS = {
    AdjustmentOutcome.NOT_CONVERGED: "No outline near the plan fits these walls and"
    " diagonals",
    AdjustmentOutcome.FOLDED: "These walls and diagonals fit only an outline with a"
    " corner turned over",
}
"""Reasons why a set of lengths belongs to no outline."""


@dataclass(frozen=True, slots=True)
class SuspectLength:
    """A wall or diagonal that the other lengths contradict, |w| > 3.29."""

    check: str
    readings: tuple[str, ...]
    w: float

    def as_result(self) -> SuspectReadingResult:
        """Return an entry of the result document's `suspect_readings`."""
        return {"check": self.check, "readings": list(self.readings), "w": self.w}


@dataclass(frozen=True, slots=True, kw_only=True)
class Squareness:
    """The outline as its walls and diagonals were measured.

    Attributes
    ----------
    difference, limit : of the diagonals; None where not known. [mm]
    length_rows : the checks that went into the adjustment.
    missing_checks : keys of the checks that would determine the outline.
    moves : corner moves that square it up; none where they are implausibly far.
    """

    difference: float | None
    limit: float | None
    verdict: Verdict
    adjustment: outline.OutlineAdjustment
    length_rows: IntArray
    missing_checks: tuple[CheckKey, ...]
    moves: tuple[CornerMoveResult, ...]
    suspect_lengths: tuple[SuspectLength, ...]


def compute_squareness(
    plan: Plan, table: CheckTable, observations: Observations, limits: ToleranceLimits
) -> Squareness:
    """Adjust the outline from every wall and diagonal that was measured."""
    names = [corner.name for corner in plan.outline]
    index = {name: i for i, name in enumerate(names)}
    lengths = table.rows(CheckKind.WALL, CheckKind.DIAGONAL)
    rows = lengths[observations.count[lengths] > 0]
    adjustment = _adjust_outline(
        outline_points(plan),
        _corner_pairs(table, rows, index),
        observations.value[rows],
        observations.uncertainty[rows],
        [[index[name] for name in ends] for ends in plan.diagonals],
    )
    difference, limit, verdict = _diagonal_difference(plan, table, observations, limits)
    return Squareness(
        difference=difference,
        limit=limit,
        verdict=verdict,
        adjustment=adjustment,
        length_rows=rows,
        missing_checks=tuple(_check_keys(plan, names, adjustment.missing)),
        moves=tuple(_square_up_moves(plan, names, adjustment)),
        suspect_lengths=tuple(
            SuspectLength(
                table.checks[row].key,
                tuple(reading.id for reading in observations.readings[row]),
                float(adjustment.w[i]),
            )
            for i, row in enumerate(rows)
            if adjustment.suspect[i]
        ),
    )


def _adjust_outline(
    corners: FloatArray,
    pairs: IntArray,
    lengths: FloatArray,
    sigma: FloatArray,
    diagonals: list[list[int]],
) -> outline.OutlineAdjustment:
    """Adjust the outline; an outline too thin to adjust gives an empty adjustment."""
    try:
        return outline.adjust_outline(corners, pairs, lengths, sigma, diagonals)
    except DegenerateGeometryError:
        # The plan was accepted; its checks still get their verdicts.
        return outline.empty_adjustment(len(corners), len(lengths))


def _corner_pairs(table: CheckTable, rows: IntArray, index: dict[str, int]) -> IntArray:
    """Return the corner indices of each length, shape (m, 2)."""
    return np.array(
        [[index[name] for name in table.checks[row].corners] for row in rows], dtype=int
    ).reshape(-1, 2)


def _check_keys(plan: Plan, names: Sequence[str], missing: IntArray) -> list[CheckKey]:
    """Return the check keys of pairs of corners, each as the plan names it."""
    keys = []
    diagonals = set(plan.diagonals)
    for first, second in np.asarray(missing).reshape(-1, 2).tolist():
        forwards = names[first], names[second]
        backwards = names[second], names[first]
        if (first + 1) % len(names) == second:
            keys.append(CheckKey.for_corners(CheckKind.WALL, forwards))
        elif (second + 1) % len(names) == first:
            keys.append(CheckKey.for_corners(CheckKind.WALL, backwards))
        else:
            ends = backwards if backwards in diagonals else forwards
            keys.append(CheckKey.for_corners(CheckKind.DIAGONAL, ends))
    return keys


def _diagonal_difference(
    plan: Plan, table: CheckTable, observations: Observations, limits: ToleranceLimits
) -> tuple[float | None, float | None, Verdict]:
    """Return the difference of the diagonals' deviations, its limit and verdict. [mm]

    For two diagonals that are alike on the plan this is the plain difference of their
    lengths. Of more than two, every pair is compared with the limit of its own mean
    nominal, and the pair furthest beyond it is returned; such a pair is outside
    whatever else is still to be measured. Guarded acceptance takes the expanded
    uncertainty of the difference off the limit.
    """
    keys = [CheckKey.for_corners(CheckKind.DIAGONAL, ends) for ends in plan.diagonals]
    planned = np.array([table.index[key] for key in keys], dtype=int)
    rows = planned[observations.count[planned] > 0]
    if rows.size < 2:
        return None, None, Verdict.UNMEASURED
    difference, limit, guard = max(
        _worst_partner(rows[i], rows[i + 1 :], table, observations, limits)
        for i in range(rows.size - 1)
    )[1:]
    # The worst pair decides, so one pair outside needs no further diagonals.
    within = difference <= limit - guard + SLACK_MM
    if rows.size < planned.size and within:
        return None, None, Verdict.UNMEASURED
    if (observations.disagree | observations.impossible)[rows].any():
        return difference, limit, Verdict.REMEASURE
    return difference, limit, Verdict.WITHIN if within else Verdict.OUTSIDE


def _worst_partner(
    row: int,
    others: IntArray,
    table: CheckTable,
    observations: Observations,
    limits: ToleranceLimits,
) -> tuple[float, float, float, float]:
    """Find the diagonal furthest beyond the limit of its difference from another.

    Returns
    -------
    How far beyond the limit, the difference, the limit, and its guard band. [mm]
    """
    deviation = observations.value[row] - table.nominal[row]
    others_deviation = observations.value[others] - table.nominal[others]
    difference = np.abs(others_deviation - deviation)
    nominals = np.stack(
        [table.nominal[others], np.full(others.size, table.nominal[row])], axis=-1
    )
    limit = limits.diagonal_difference(nominals)
    sigma = np.hypot(observations.uncertainty[others], observations.uncertainty[row])
    guard = COVERAGE_FACTOR * sigma * limits.guarded
    beyond = difference - limit + guard
    k = int(beyond.argmax())
    return float(beyond[k]), float(difference[k]), float(limit[k]), float(guard[k])


def _square_up_moves(
    plan: Plan, names: Sequence[str], adjustment: outline.OutlineAdjustment
) -> list[CornerMoveResult]:
    """Return the corner moves that square the outline up, each along a wall.

    None at all where a corner would move so far that a length must be wrong instead.
    """
    if not adjustment.determined:
        return []
    corners = outline_points(plan)
    moved = corner_moves.find_corner_moves(corners, adjustment.corners_mm)
    # A short wall would excuse nothing, so the share is of the longest one.
    walls = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    if np.abs(moved.move_mm).max() > max(FOOT_MM, MAX_MOVE_SHARE * float(walls.max())):
        return []
    return [
        {
            "corner": names[corner],
            "wall": f"{names[wall]}-{names[(wall + 1) % len(names)]}",
            "move": float(move),
            "dx": float(shift[0]),
            "dy": float(shift[1]),
        }
        for corner, wall, move, shift in zip(
            moved.corner, moved.wall, moved.move_mm, moved.shift_mm, strict=True
        )
    ]


def _outline_note(plan: Plan, square: Squareness) -> str | None:
    """Return why there is no adjusted outline; None where there is one."""
    adjustment = square.adjustment
    if adjustment.determined:
        return None
    if adjustment.outcome in NO_OUTLINE_REASONS:
        reason = NO_OUTLINE_REASONS[adjustment.outcome]
        return f"{reason}. At least one of them is wrong, so no corner is placed."
    if square.missing_checks:
        missing = ", ".join(
            find_check(plan, key).description for key in square.missing_checks
        )
        return f"The outline is not determined. Still to be measured: {missing}."
    return "The planned outline is too thin to adjust."


def squareness_result(
    plan: Plan, table: CheckTable, square: Squareness
) -> SquarenessResult:
    """Return the result document's `squareness`."""
    adjustment = square.adjustment
    corners: list[AdjustedCornerResult] = []
    if adjustment.determined:
        corners = [
            {"corner": corner.name, "dx": float(shift[0]), "dy": float(shift[1])}
            for corner, shift in zip(plan.outline, adjustment.offsets_mm, strict=True)
        ]
    lengths: list[AdjustedLengthResult] = [
        {
            "check": table.checks[row].key,
            "residual": to_json_number(adjustment.residuals_mm[i]),
            "redundancy": to_json_number(adjustment.redundancy[i]),
            "w": to_json_number(adjustment.w[i]),
        }
        for i, row in enumerate(square.length_rows)
    ]
    return {
        "difference": square.difference,
        "limit": square.limit,
        "verdict": square.verdict.value,
        "lean": to_json_number(adjustment.skew_rad),
        "corners": corners,
        "reference_variance": to_json_number(adjustment.reference_variance),
        "suspect_readings": [suspect.as_result() for suspect in square.suspect_lengths],
        "determined": bool(adjustment.determined),
        "outcome": str(adjustment.outcome),
        "note": _outline_note(plan, square),
        "degrees_of_freedom": int(adjustment.degrees_of_freedom),
        "cannot_tell_which": bool(adjustment.cannot_tell),
        "missing_readings": list(square.missing_checks),
        "lengths": lengths,
        "square_up": list(square.moves),
    }
