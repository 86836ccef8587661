"""Derivative of the misfit by what is measured: which readings decide on fit-up."""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import FloatArray
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.fit_up_pairs import collect_pair_readings
from jobs.anchor_plan.check_keys import CheckKind

MIN_SLOPE = 1e-3
"""Derivative of the misfit by a length below which the length does not matter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MisfitSlope:
    """Change of the misfit by lengths: 0 for those that do not matter. [1]

    Attributes
    ----------
    by_check : (n_checks,) by the deviation of each check.
    by_position : (n_positions, 2) by a movement of each position along and in.
    """

    by_check: FloatArray
    by_position: FloatArray


def compute_misfit_slope(evaluation: BuildingEvaluation) -> MisfitSlope:
    """Compute the derivative of the misfit as read.

    0 without a fit-up, and where a plate does not go on alone: that is a finding of its
    own, and no further reading of a bay would settle it.
    """
    table, rods, fit_up = evaluation.table, evaluation.rods, evaluation.fit_up
    by_check = np.zeros(len(table))
    by_position = np.zeros((len(rods.groups), 2))
    if fit_up is None or fit_up.own_misfit.any():
        return MisfitSlope(by_check=by_check, by_position=by_position)
    padded, real = (each[fit_up.positions] for each in rods.padded_rows)
    by_rod = np.zeros((len(rods), 2))
    by_rod[padded[real]] = fit_up.best.slope[real]
    np.add.at(by_position, rods.position, by_rod)
    lines = table.rows(CheckKind.LINE)
    by_check[lines] = by_position[table.position[lines], 0]
    for axis, kind in enumerate((CheckKind.OFFSET, CheckKind.SETBACK)):
        rows = table.rows(kind)
        by_check[rows] = by_rod[rods.rows_of_checks(table, rows)[:, 0], axis]
    # Bays on walls move nothing by themselves: they correct the two lines.
    on_wall = {each.mark for each in evaluation.plan.positions if each.wall}
    pair_rows = np.array(
        [
            row
            for row in fit_up.pair_rows
            if table.checks[row].kind is CheckKind.SPAN
            or table.checks[row].marks[0] not in on_wall
        ],
        dtype=int,
    )
    if pair_rows.size:
        pairs = collect_pair_readings(
            evaluation.plan,
            table,
            rods,
            evaluation.observations,
            fit_up.positions,
            pair_rows,
        )
        moved = by_position[fit_up.positions]
        by_check[pair_rows] = np.einsum("ni,nir->r", moved, pairs.shift)
    # What the solver leaves at zero is zero only to its tolerance.
    by_check[np.abs(by_check) < MIN_SLOPE] = 0.0
    by_position[np.abs(by_position) < MIN_SLOPE] = 0.0
    return MisfitSlope(by_check=by_check, by_position=by_position)
