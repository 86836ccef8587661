"""The outline: adjusted corners, squareness, suspect readings, how to square up."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from checks.engine import corner_moves, outline
from checks.engine.arrays import FloatArray, IntArray
from checks.engine.causes import FOOT_MM
from checks.engine.conformity import COVERAGE_FACTOR, SLACK_MM
from checks.engine.distance_network import AdjustmentOutcome
from checks.engine.errors import DegenerateGeometryError
from checks.evaluation.check_table import CheckTable
from checks.evaluation.json_values import to_json_number
from checks.evaluation.reduce_readings import Observations
from checks.tolerances.limits import ToleranceLimits
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.geometry import outline_points
from jobs.anchor_plan.values import Plan

MAX_MOVE_SHARE = (
    0.02  # ours: of the longest wall; concrete is not out of square by more
)
NO_OUTLINE_REASONS = {
    AdjustmentOutcome.NOT_CONVERGED: "Walls and diagonals fit no figure near the plan",
    AdjustmentOutcome.FOLDED: (
        "Walls and diagonals fit only a figure with a corner turned over"
    ),
}
"""What is said of lengths that no outline can have."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Squareness:
    """What the walls and diagonals say of the outline."""

    difference: float | None
    limit: float | None
    verdict: str
    adjustment: outline.OutlineAdjustment
    length_rows: IntArray  # the checks that went into the adjustment
    missing_checks: tuple[str, ...]
    moves: tuple[dict[str, Any], ...]  # none where they would go too far to be true
    suspect_readings: tuple[dict[str, Any], ...]


def compute_squareness(
    plan: Plan, table: CheckTable, observations: Observations, limits: ToleranceLimits
) -> Squareness:
    """Adjust the outline from every wall and diagonal that was measured."""
    names = [corner.name for corner in plan.outline]
    place = {name: i for i, name in enumerate(names)}
    lengths = table.rows(CheckKind.WALL, CheckKind.DIAGONAL)
    rows = lengths[observations.count[lengths] > 0]
    pairs = _corner_pairs(table, rows, place)
    adjusted = _adjust_outline(
        outline_points(plan),
        pairs,
        observations.value[rows],
        observations.uncertainty[rows],
        [[place[name] for name in ends] for ends in plan.diagonals],
    )
    difference, limit, verdict = _diagonal_difference(plan, table, observations, limits)
    return Squareness(
        difference=difference,
        limit=limit,
        verdict=verdict,
        adjustment=adjusted,
        length_rows=rows,
        missing_checks=tuple(_check_keys(plan, names, adjusted.missing)),
        moves=tuple(_square_up_moves(plan, names, adjusted)),
        suspect_readings=tuple(
            _list_suspect_readings(table, observations, rows, adjusted)
        ),
    )


def _adjust_outline(
    corners: FloatArray,
    pairs: IntArray,
    lengths: FloatArray,
    sigma: FloatArray,
    diagonals: list[list[int]],
) -> outline.OutlineAdjustment:
    """The figure; none at all of an outline too thin to have one."""
    try:
        return outline.adjust_outline(corners, pairs, lengths, sigma, diagonals)
    except DegenerateGeometryError:
        return outline.empty_adjustment(len(corners), len(lengths))


def _corner_pairs(table: CheckTable, rows: IntArray, place: dict[str, int]) -> IntArray:
    """Corner indices of each length, shape (m, 2)."""
    return np.array(
        [[place[name] for name in table.checks[row].corners] for row in rows], dtype=int
    ).reshape(-1, 2)


def _check_keys(plan: Plan, names: Sequence[str], missing: IntArray) -> list[str]:
    """The check keys of pairs of corners, a wall named in its own order."""
    keys = []
    listed = set(plan.diagonals)
    for first, second in np.asarray(missing).reshape(-1, 2).tolist():
        if (first + 1) % len(names) == second:
            keys.append(f"wall:{names[first]}-{names[second]}")
        elif (second + 1) % len(names) == first:
            keys.append(f"wall:{names[second]}-{names[first]}")
        elif (names[second], names[first]) in listed:
            keys.append(f"diagonal:{names[second]}-{names[first]}")
        else:
            keys.append(f"diagonal:{names[first]}-{names[second]}")
    return keys


def _diagonal_difference(
    plan: Plan, table: CheckTable, observations: Observations, limits: ToleranceLimits
) -> tuple[float | None, float | None, str]:
    """Difference of the planned diagonals' deviations, its limit and verdict. [mm]

    For two diagonals that are alike on the plan this is the plain difference of
    their lengths. Of more than two every pair is held against the limit of its own
    mean nominal, and told is the pair that goes furthest beyond it; a pair that does
    is outside whatever else is still to be measured. Guarded acceptance takes the
    expanded uncertainty of the difference off the limit.
    """
    keys = [f"diagonal:{first}-{second}" for first, second in plan.diagonals]
    listed = np.array([table.index[key] for key in keys], dtype=int)
    rows = listed[observations.count[listed] > 0]
    if rows.size < 2:
        return None, None, "unmeasured"
    difference, limit, guard = max(
        _worst_partner(rows[i], rows[i + 1 :], table, observations, limits)
        for i in range(rows.size - 1)
    )[1:]
    within = difference <= limit - guard + SLACK_MM
    if rows.size < listed.size and within:
        return None, None, "unmeasured"
    if (observations.disagree | observations.impossible)[rows].any():
        return difference, limit, "remeasure"
    return difference, limit, "within" if within else "outside"


def _worst_partner(
    one: int,
    others: IntArray,
    table: CheckTable,
    observations: Observations,
    limits: ToleranceLimits,
) -> tuple[float, float, float, float]:
    """The diagonal that is furthest beyond the limit of its difference from one.

    How far beyond, the difference, its limit, and the guard taken off that. [mm]
    """
    deviation = observations.value[one] - table.nominal[one]
    apart = np.abs(observations.value[others] - table.nominal[others] - deviation)
    allowed = limits.diagonal((table.nominal[others] + table.nominal[one]) / 2.0)
    sigma = np.hypot(observations.uncertainty[others], observations.uncertainty[one])
    guard = COVERAGE_FACTOR * sigma * limits.guarded
    beyond = apart - allowed + guard
    k = int(beyond.argmax())
    return float(beyond[k]), float(apart[k]), float(allowed[k]), float(guard[k])


def _list_suspect_readings(
    table: CheckTable,
    observations: Observations,
    rows: IntArray,
    adjusted: outline.OutlineAdjustment,
) -> list[dict[str, Any]]:
    """The readings the adjustment points at, with their w-statistic."""
    return [
        {
            "check": table.checks[row].key,
            "readings": [reading.id for reading in observations.readings[row]],
            "w": to_json_number(adjusted.w[i]),
        }
        for i, row in enumerate(rows)
        if adjusted.suspect[i]
    ]


def _square_up_moves(
    plan: Plan, names: Sequence[str], adjusted: outline.OutlineAdjustment
) -> list[dict[str, Any]]:
    """Corners to move to square the outline up, each along a wall.

    None at all where one would have to go so far that a length is wrong instead.
    """
    if not adjusted.determined:
        return []
    corners = outline_points(plan)
    moved = corner_moves.find_corner_moves(corners, adjusted.corners_mm)
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


def _outline_note(square: Squareness) -> str | None:
    """A sentence on why there is no figure; None where there is one."""
    adjusted = square.adjustment
    if adjusted.determined:
        return None
    if adjusted.outcome in NO_OUTLINE_REASONS:
        said = NO_OUTLINE_REASONS[adjusted.outcome]
        return f"{said}: at least one of them is wrong, and no corner is placed."
    if square.missing_checks:
        said = ", ".join(key.replace(":", " ") for key in square.missing_checks)
        return f"The figure is not determined without {said}."
    return "The planned outline is too thin to adjust a figure to it."


def squareness_result(
    plan: Plan, table: CheckTable, square: Squareness
) -> dict[str, Any]:
    """The result document's `squareness`."""
    adjusted = square.adjustment
    offsets: FloatArray = adjusted.offsets_mm
    corners = (
        [
            {"corner": corner.name, "dx": float(shift[0]), "dy": float(shift[1])}
            for corner, shift in zip(plan.outline, offsets, strict=True)
        ]
        if adjusted.determined
        else []
    )
    return {
        "difference": square.difference,
        "limit": square.limit,
        "verdict": square.verdict,
        "lean": to_json_number(adjusted.skew_rad),
        "corners": corners,
        "reference_variance": to_json_number(adjusted.reference_variance),
        "suspect_readings": list(square.suspect_readings),
        "determined": bool(adjusted.determined),
        "outcome": str(adjusted.outcome),
        "note": _outline_note(square),
        "degrees_of_freedom": int(adjusted.degrees_of_freedom),
        "cannot_tell_which": bool(adjusted.cannot_tell),
        "missing_readings": list(square.missing_checks),
        "lengths": [
            {
                "check": table.checks[row].key,
                "residual": to_json_number(adjusted.residuals_mm[i]),
                "redundancy": to_json_number(adjusted.redundancy[i]),
                "w": to_json_number(adjusted.w[i]),
            }
            for i, row in enumerate(square.length_rows)
        ],
        "square_up": [dict(move) for move in square.moves],
    }
