"""Bays and spans against what other readings make of the same lengths.

A bay along a wall is the difference of two lines, a span between two walls a width of
the outline. Where both were measured, each checks the other::

    line S2 = 20'-0"        line S3 = 40'-0 1/8"        bay S2 to S3 = 20'-0 1/8"
    |-------------------S2
    |-----------------------------------------S3

The deviation that lines give a bay is that of its second line less that of its first.
The deviation that the outline gives a span is the difference, in the direction of the
span, of the moves of two points, each shared out along its wall between the moves of
the two adjusted corners. Between point positions nothing else was read.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.distance_network import CRITICAL_W
from checks.evaluation.check_table import CheckTable
from checks.evaluation.reduce_readings import Observations
from checks.evaluation.squareness import Squareness
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.geometry import wall_axes, wall_length
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan, Position


@dataclass(frozen=True, slots=True, kw_only=True)
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

    @property
    def contradicts(self) -> BoolArray:
        """Return where reading and prediction differ by more than 3.29 sigma, (n,)."""
        # A comparison with NaN is False: what is not known contradicts nothing.
        difference = np.abs(self.deviation - self.predicted)
        return np.asarray(difference > CRITICAL_W * self.sigma)


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
    predicted, variance = np.full(rows.size, np.nan), np.full(rows.size, np.nan)
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
            predicted[i] = deviation[lines[1]] - deviation[lines[0]]
            # What one tape has in common largely cancels here.
            signs = np.array([-1.0, 1.0, -1.0])
            covariance = observations.covariance(np.array([*lines, row]))
            variance[i] = signs @ covariance @ signs
        else:
            sources.append(tuple(square.length_rows.tolist()))
            predicted[i], spread = _predict_span(plan, first, second, square)
            variance[i] = spread + observations.uncertainty[row] ** 2
    return NeighbourLengths(
        rows=rows,
        deviation=deviation[rows],
        predicted=predicted,
        sigma=np.sqrt(variance),
        sources=tuple(sources),
    )


def _predict_span(
    plan: Plan, first: Position, second: Position, square: Squareness
) -> tuple[float, float]:
    """Predict a span's deviation from the adjusted outline, with its variance.

    The corners' own uncertainties are added as if they were independent.
    """
    if not square.adjustment.determined:
        return float("nan"), float("nan")
    names = [corner.name for corner in plan.outline]
    deviation = variance = 0.0
    for position, sign in ((first, -1.0), (second, 1.0)):
        assert position.wall is not None  # noqa: S101 - both are on walls
        direction = wall_axes(plan, first.wall or position.wall).inward
        share = (position.along or 0.0) / wall_length(plan, position.wall)
        for name, part in zip(position.wall, (1.0 - share, share), strict=True):
            corner = names.index(name)
            moves = square.adjustment.offsets_mm[corner] * direction
            deviation += sign * part * float(moves.sum())
            sigma = square.adjustment.sigma_mm[corner] * direction * part
            variance += float(np.square(sigma).sum())
    return deviation, variance


def describe_sources(check: Check) -> str:
    """Return what else measures the length of a bay or span, for a sentence."""
    if check.kind is CheckKind.BAY:
        return f"the lines of {check.marks[0]} and {check.marks[1]}"
    return "the walls and diagonals"
