"""Misfit of single plates, bays and frames: the fit-up of one or two positions alone.

Each element has a grid and a misfit of its own; they are solved side by side in one
programme, whose parts share nothing. An element's misfit is never more than that of the
whole building.
"""

import numpy as np

from checks.engine.arrays import FloatArray, IntArray
from checks.engine.fit_up.cone_program import ConeProgram
from checks.engine.fit_up.problem import FitUpProblem, rotate_quarter

INTERIOR_MM = 1e-7
"""Clearance added where holes have no misfit to give."""

COST_OF_HOLES = 100.0
"""Cost of opening holes against that of a length, both by the millimetre."""

NO_HOLE_MM = 1e-4
"""Opening below which the solver means none."""


def compute_single_misfits(
    problem: FitUpProblem, positions: IntArray, *, turns: FloatArray | None = None
) -> FloatArray:
    """Compute the misfit of some plates, each alone on a grid of its own.

    Parameters
    ----------
    problem : FitUpProblem
    positions : array of int, shape (c,)
    turns : array, shape (c,), optional
        Turns of these plates about which rotation is linearised. [rad]

    Returns
    -------
    array, shape (c,)
        [mm]
    """
    if not positions.size:
        return np.empty(0)
    alone = problem.copy_positions(positions, np.empty(0, dtype=np.intp))
    each = np.arange(positions.size)
    program = ConeProgram(alone, turns=turns, grid_of=each, opening_of=each)
    x, _ = program.run(program.cost_of_openings())
    return x[program.opening_column :]


def compute_pair_misfits(
    problem: FitUpProblem, pairs: IntArray, *, turns: FloatArray | None = None
) -> FloatArray:
    """Compute the misfit of some bays and frames, each alone on a grid of its own.

    Parameters
    ----------
    problem : FitUpProblem
    pairs : array of int, shape (k,)
        Rows of `problem.pairs`.
    turns : array, shape (n,), optional
        Turns of all plates about which rotation is linearised. [rad]

    Returns
    -------
    array, shape (k,)
        [mm]
    """
    if not pairs.size:
        return np.empty(0)
    each = np.repeat(np.arange(pairs.size), 2)
    ends = problem.pairs[pairs].ravel()
    copies = problem.copy_positions(ends, pairs)
    program = ConeProgram(
        copies,
        turns=None if turns is None else turns[ends],
        grid_of=each,
        opening_of=each,
    )
    x, _ = program.run(program.cost_of_openings())
    return x[program.opening_column :]


def compute_missing_lengths(problem: FitUpProblem, pairs: IntArray) -> FloatArray:
    """Compute by how much more some bays and frames would have to give.

    That is how far the distance of the two plates must change beyond its limit for both
    to go on in holes as they are.

    Parameters
    ----------
    problem : FitUpProblem
    pairs : array of int, shape (k,)
        Rows of `problem.pairs`.

    Returns
    -------
    array, shape (k,)
        0 or more; NaN where no change of the distance lets both go on. [mm]
    """
    if not pairs.size:
        return np.empty(0)
    copies = problem.copy_positions(problem.pairs[pairs].ravel(), pairs)
    # A plate that only just goes on has one place: the solver needs room around it.
    copies = copies.with_clearance(copies.clearance + INTERIOR_MM)
    each = np.arange(pairs.size)
    program = ConeProgram(
        copies, grid_of=np.repeat(each, 2), opening_of=each, opens="lengths"
    )
    # Opening a hole costs so much that it is done only where no length would do.
    weight = np.repeat((1.0, COST_OF_HOLES), pairs.size)
    x, _ = program.run(program.cost_of_openings(weight), smallest_opening=0.0)
    length, hole = x[program.opening_column :].reshape(2, -1)
    return np.where(hole > NO_HOLE_MM, np.nan, np.maximum(length, 0.0))


def estimate_pair_misfits(problem: FitUpProblem) -> FloatArray:
    """Estimate the misfit of every bay and frame, to choose those to compute.

    In a pair whose plates only shift along its direction e, plate p with rods between
    lo and hi along e (relative to their holes) can be anywhere from hi - c - t to
    lo + c + t, so that the distance keeps its limit if t is at least ::

        (|m_q - m_p| - w_p - w_q - limit) / 2,  m = (lo + hi) / 2, w = c - (hi - lo) / 2

    Turns are taken out first, as far as each plate may turn.

    Returns
    -------
    array, shape (k,)
        [mm]
    """
    real = problem.real[..., None]
    lever = np.where(real, rotate_quarter(problem.holes), 0.0)
    rods = np.where(real, problem.rods, 0.0)
    size = (lever**2).sum(axis=(1, 2))
    turn = (lever * rods).sum(axis=(1, 2)) / np.where(size > 0.0, size, 1.0)
    turn = np.clip(turn, -problem.limits.turn, problem.limits.turn)
    left = rods - turn[:, None, None] * lever
    ends = problem.pairs
    along = np.einsum("kaij,kj->kai", problem.axes[ends], problem.direction)
    value = np.einsum("kami,kai->kam", left[ends], along)
    mask = problem.real[ends]
    low = np.where(mask, value, np.inf).min(axis=2)
    high = np.where(mask, value, -np.inf).max(axis=2)
    clearance = np.where(mask, problem.clearance[ends], np.inf).min(axis=2)
    middle, free = (low + high) / 2.0, clearance - (high - low) / 2.0
    gap = np.abs(middle[:, 1] - middle[:, 0])
    return np.asarray((gap - free.sum(axis=1) - problem.pair_limit) / 2.0)
