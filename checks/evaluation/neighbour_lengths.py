"""Bays and spans against what other readings make of the same lengths.

Where a bay and its two lines, or a span and the outline, were measured, each checks
the other (`checks.engine.neighbour_lengths`)::

    line S2 = 20'-0"        line S3 = 40'-0 1/8"        bay S2 to S3 = 20'-0 1/8"
    |-------------------S2
    |-----------------------------------------S3

Between point positions nothing else was read.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from checks.engine import neighbour_lengths
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.evaluation.check_table import CheckTable
from checks.evaluation.reduce_readings import Observations
from checks.evaluation.squareness import Squareness
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.geometry import wall_axes, wall_length
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan, Position


@dataclass(frozen=True, kw_only=True)
class NeighbourLengths:
    """The n bays and spans that were read.

    Attributes
    ----------
    rows : (n,) of the checks in the table.
    deviation : (n,) as read. [mm]
    predicted : (n,) deviation that other readings give; NaN where they do not. [mm]
    sigma : (n,) standard uncertainty of the difference of the two. [mm]
    sources : the checks that predict each, whether they were read or not; none where
        nothing else measures the length.
    """

    rows: IntArray
    deviation: FloatArray
    predicted: FloatArray
    sigma: FloatArray
    sources: tuple[tuple[int, ...], ...]

    @cached_property
    def contradicts(self) -> BoolArray:
        """Return where reading and prediction differ by more than 3.29 sigma, (n,)."""
        return neighbour_lengths.find_contradictions(
            self.deviation, self.predicted, self.sigma
        )


def compare_neighbour_lengths(
    plan: Plan,
    table: CheckTable,
    observations: Observations,
    deviation: FloatArray,
    square: Squareness,
) -> NeighbourLengths:
    """Compare every bay and span that was read with lines and outline.

    Parameters
    ----------
    plan, table, observations : of one building.
    deviation : array, shape (n_checks,)
        Observed less nominal. [mm]
    square : the adjusted outline.
    """
    rows = table.rows(CheckKind.BAY, CheckKind.SPAN)
    rows = rows[observations.count[rows] > 0]
    positions = {each.mark: each for each in plan.positions} if rows.size else {}
    predicted, sigma = np.full(rows.size, np.nan), np.full(rows.size, np.nan)
    sources: list[tuple[int, ...]] = []
    for i, row in enumerate(rows.tolist()):
        check = table.checks[row]
        first, second = (positions[mark] for mark in check.marks)
        if first.wall is None or second.wall is None:
            sources.append(())
        elif check.kind is CheckKind.BAY:
            lines = [
                table.index[CheckKey.for_position(CheckKind.LINE, mark)]
                for mark in check.marks
            ]
            sources.append(tuple(lines))
            predicted[i] = neighbour_lengths.predict_bays(deviation[lines])
            sigma[i] = neighbour_lengths.combine_uncertainty(
                neighbour_lengths.BAY_WEIGHTS,
                observations.covariance(np.array([*lines, row])),
            )
        else:
            sources.append(tuple(square.length_rows.tolist()))
            predicted[i], outline = predict_span(plan, (first, second), square)
            sigma[i] = np.hypot(outline, observations.uncertainty[row])
    return NeighbourLengths(
        rows=rows,
        deviation=deviation[rows],
        predicted=predicted,
        sigma=sigma,
        sources=tuple(sources),
    )


def predict_span(
    plan: Plan, ends: tuple[Position, Position], square: Squareness
) -> tuple[float, float]:
    """Predict a span's deviation from the adjusted outline, with its uncertainty.

    The corners' own uncertainties are added as if they were independent.
    """
    if not square.adjustment.determined:
        return float("nan"), float("nan")
    names = [corner.name for corner in plan.outline]
    walls = [position.wall or ("", "") for position in ends]
    corners = np.array([[names.index(name) for name in wall] for wall in walls])
    share = np.array(
        [
            (position.along or 0.0) / wall_length(plan, wall)
            for position, wall in zip(ends, walls, strict=True)
        ]
    )
    direction = wall_axes(plan, walls[0]).inward
    offsets, sigma = square.adjustment.offsets_mm, square.adjustment.sigma_mm
    predicted = neighbour_lengths.predict_spans(
        offsets[corners][None], share[None], direction[None]
    )
    parts = np.stack([1.0 - share, share], axis=1)[..., None] * sigma[corners]
    return float(predicted[0]), float(np.sqrt(np.sum((parts * direction) ** 2)))


def describe_sources(check: Check) -> str:
    """Return what else measures the length of a bay or span, for a sentence."""
    if check.kind is CheckKind.BAY:
        return f"the lines of {check.marks[0]} and {check.marks[1]}"
    return "the walls and diagonals"
