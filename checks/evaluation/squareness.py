"""Squareness of the outline: adjusted corners, suspect readings, corner moves."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checks.engine import causes, corner_moves, outline
from checks.engine.arrays import FloatArray, IntArray
from checks.engine.constants import FOOT_MM
from checks.engine.distance_network import MIN_REDUNDANCY, AdjustmentOutcome
from checks.engine.errors import DegenerateGeometryError
from checks.evaluation.check_table import CheckTable
from checks.evaluation.common_errors import CommonError
from checks.evaluation.diagonal_difference import DiagonalDifference, compare_diagonals
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
    CommonErrorResult,
    SquarenessResult,
    SuspectReadingResult,
)
from jobs.exchange.result.findings import CornerMoveResult

MAX_MOVE_SHARE = 0.02
"""Share of the longest wall that concrete may be out of square. Project choice."""

DETECTABLE_W = 4.132
"""Expected |w| that passes 3.29 eight times in ten: Baarda's delta0. [1]"""

NO_OUTLINE_REASONS = {
    AdjustmentOutcome.NOT_CONVERGED: "No outline near the plan fits these walls and"
    " diagonals",
    AdjustmentOutcome.FOLDED: "These walls and diagonals fit only an outline with a"
    " corner turned over",
}
"""Reasons why a set of lengths belongs to no outline."""


@dataclass(frozen=True, slots=True)
class SuspectLength:
    """A wall or diagonal that the other lengths contradict.

    `error` is what it reads too much if all others are right. [mm]
    """

    check: str
    readings: tuple[str, ...]
    w: float
    error: float

    def as_result(self) -> SuspectReadingResult:
        """Return an entry of the result document's `suspect_readings`."""
        return {
            "check": self.check,
            "readings": list(self.readings),
            "w": self.w,
            "error": self.error,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Squareness:
    """The outline as its walls and diagonals were measured.

    Attributes
    ----------
    diagonals : the difference of the diagonals, with limit and verdict.
    length_rows : the checks that went into the adjustment.
    errors : of each of these, what it reads too much if all others are right; NaN
        where nothing checks it. [mm]
    common_errors : what the lengths have in common, as in the adjustment.
    missing_checks : keys of the checks that would determine the outline.
    moves : corner moves that square it up; none where they are implausibly far, or
        rest on lengths that contradict each other.
    """

    diagonals: DiagonalDifference
    adjustment: outline.OutlineAdjustment
    length_rows: IntArray
    errors: FloatArray
    common_errors: tuple[CommonError, ...]
    missing_checks: tuple[CheckKey, ...]
    moves: tuple[CornerMoveResult, ...]
    suspect_lengths: tuple[SuspectLength, ...]

    @property
    def verdict(self) -> Verdict:
        """Return the verdict of the difference of the diagonals."""
        return self.diagonals.verdict

    @property
    def contradicted(self) -> bool:
        """Return True where the lengths cannot all be right."""
        adjustment = self.adjustment
        named = adjustment.suspect.any() or adjustment.common_suspect.any()
        return bool(adjustment.cannot_tell or named)

    @property
    def contradiction(self) -> float | None:
        """Return the least misreading of one length that explains it all. [mm]

        None where nothing contradicts.
        """
        among = self.adjustment.inseparable | self.adjustment.suspect
        if not (self.contradicted and among.any()):
            return None
        return float(np.nanmin(np.abs(self.errors[among])))


def compute_squareness(
    plan: Plan, table: CheckTable, observations: Observations, limits: ToleranceLimits
) -> Squareness:
    """Adjust the outline from every wall and diagonal that was measured."""
    names = [corner.name for corner in plan.outline]
    index = {name: i for i, name in enumerate(names)}
    lengths = table.rows(CheckKind.WALL, CheckKind.DIAGONAL)
    # A length whose repeats contradict each other has readings, but no value.
    rows = lengths[~np.isnan(observations.value[lengths])]
    shared = np.flatnonzero(observations.common[rows].any(axis=0))
    adjustment = _adjust_outline(
        outline_points(plan),
        _corner_pairs(table, rows, index),
        observations.value[rows],
        observations.independent[rows],
        observations.common[np.ix_(rows, shared)],
        [[index[name] for name in ends] for ends in plan.diagonals],
    )
    errors = causes.estimate_errors(adjustment.residuals_mm, adjustment.redundancy)
    return Squareness(
        diagonals=compare_diagonals(plan, table, observations, limits),
        adjustment=adjustment,
        length_rows=rows,
        errors=errors,
        common_errors=tuple(observations.common_errors[i] for i in shared),
        missing_checks=tuple(_check_keys(plan, names, adjustment.missing)),
        moves=tuple(_square_up_moves(plan, names, adjustment)),
        suspect_lengths=tuple(
            SuspectLength(
                table.checks[row].key,
                tuple(reading.id for reading in observations.readings[row]),
                float(adjustment.w[i]),
                float(errors[i]),
            )
            for i, row in enumerate(rows)
            if adjustment.suspect[i]
        ),
    )


def _adjust_outline(
    corners: FloatArray,
    pairs: IntArray,
    lengths: FloatArray,
    own: FloatArray,
    common: FloatArray,
    diagonals: list[list[int]],
) -> outline.OutlineAdjustment:
    """Adjust the outline; an outline too thin to adjust gives an empty adjustment."""
    try:
        return outline.adjust_outline(
            corners, pairs, lengths, own, diagonals, common_mm=common
        )
    except DegenerateGeometryError:
        # The plan was accepted; its checks still get their verdicts.
        return outline.empty_adjustment(len(corners), *common.shape)


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


def _square_up_moves(
    plan: Plan, names: Sequence[str], adjustment: outline.OutlineAdjustment
) -> list[CornerMoveResult]:
    """Return the corner moves that square the outline up, each along a wall.

    None from lengths that contradict each other, and none at all where a corner would
    move so far that a length must be wrong instead.
    """
    doubtful = adjustment.cannot_tell or adjustment.suspect.any()
    if not adjustment.determined or doubtful or adjustment.common_suspect.any():
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
    plan: Plan, table: CheckTable, observations: Observations, square: Squareness
) -> SquarenessResult:
    """Return the result document's `squareness`."""
    adjustment, diagonals = square.adjustment, square.diagonals
    rows = square.length_rows
    corners: list[AdjustedCornerResult] = []
    if adjustment.determined:
        corners = [
            {"corner": corner.name, "dx": float(shift[0]), "dy": float(shift[1])}
            for corner, shift in zip(plan.outline, adjustment.offsets_mm, strict=True)
        ]
    detectable = _detectable_errors(adjustment, observations.independent[rows])
    lengths: list[AdjustedLengthResult] = [
        {
            "check": table.checks[row].key,
            "residual": to_json_number(adjustment.residuals_mm[i]),
            "redundancy": to_json_number(adjustment.redundancy[i]),
            "w": to_json_number(adjustment.w[i]),
            "error": to_json_number(square.errors[i]),
            "detectable": to_json_number(detectable[i]),
        }
        for i, row in enumerate(square.length_rows)
    ]
    return {
        "difference": diagonals.difference,
        "limit": diagonals.limit,
        "uncertainty": diagonals.uncertainty,
        "probability": diagonals.probability,
        "verdict": diagonals.verdict.value,
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
        "contradiction": square.contradiction,
        "common_errors": _common_error_rows(square),
    }


def _detectable_errors(
    adjustment: outline.OutlineAdjustment, own: FloatArray
) -> FloatArray:
    """Return the misreadings that the other lengths would show 8 times in 10. [mm]

    Baarda's 4.13 sigma / sqrt(r), for a test at 0.001; NaN where nothing checks.
    """
    checked = adjustment.redundancy > MIN_REDUNDANCY
    root = np.sqrt(np.where(checked, adjustment.redundancy, np.nan))
    return np.asarray(DETECTABLE_W * own / root)


def _common_error_rows(square: Squareness) -> list[CommonErrorResult]:
    adjustment = square.adjustment
    return [
        {
            "kind": error.kind.value,
            "name": error.name,
            "estimate": to_json_number(adjustment.common[i]),
            "redundancy": to_json_number(adjustment.common_redundancy[i]),
            "w": to_json_number(adjustment.common_w[i]),
            "suspect": bool(adjustment.common_suspect[i]),
        }
        for i, error in enumerate(square.common_errors)
    ]
