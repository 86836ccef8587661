"""Interior point method for the rigid placement with the least interference.

For each plate, over rotation, shift and t: minimise t subject to

    |R(rotation) hole_i + shift - rod_i| <= t + clearance_i      for every rod i,

one second-order cone of dimension three per rod. A rod may instead be *held*: its
distance must be at most its clearance, whatever t (weight 0 on t instead of 1). Solved
by a primal-dual interior point method with Nesterov-Todd scaling and Mehrotra's
predictor-corrector [1]_, [2]_, all plates in one array. The rotation is the true one:
each Newton step linearises about the angle reached, and the residual is always the
nonlinear one.

Once the active rods are visible, `active_set` takes the last steps. Array shapes are
as in `state`.

References
----------
.. [1] Yu. Nesterov and M. Todd, "Primal-dual interior-point methods for
   self-scaled cones", SIAM J. Optim. 8(2), 1998.
.. [2] L. Vandenberghe, "The CVXOPT linear and quadratic cone program solvers",
   2010, section 4 (scaling) and 7 (steps).
"""

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.plate_fit.active_set import polish_active_set
from checks.engine.plate_fit.newton_system import (
    LimitStep,
    NewtonSystem,
    generalised_forces,
    limit_slacks,
)
from checks.engine.plate_fit.second_order_cone import (
    TINY,
    nesterov_todd_scaling,
)
from checks.engine.plate_fit.state import PlateProblem, SolverState, rotate_points

MAX_STEPS = 60
POLISH_AT_STEPS = (2, 3, 5, 7)  # by then most plates show which rods are active
MAX_INFEASIBILITY = 1e-7
MAX_ROTATION_STEP_RAD = 0.2
BOUNDARY_FRACTION = 0.98  # at the edge of the cone itself the scaling is singular
HELD_ROD_START_SLACK = 0.1  # a held rod starts this far inside its cone


def solve_interior_point(
    problem: PlateProblem, rotation_rad: FloatArray, shift: FloatArray
) -> SolverState:
    """Solve every plate from a starting rotation (g,) and shift (2, g)."""
    final = _initial_state(problem, rotation_rad, shift)
    part, task = final, problem
    at = np.arange(rotation_rad.size)
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        for step in range(MAX_STEPS):
            unfinished = _take_step(task, part)
            polished = step in POLISH_AT_STEPS
            if polished:
                unfinished &= ~polish_active_set(task, part)
            going = np.flatnonzero(unfinished)
            if going.size == 0:
                break
            # Plates that are done leave the batch: at the very bottom no step is left
            # that floats can represent. Copying pays only once enough have left.
            if polished or going.size < 0.7 * part.x.shape[1]:
                if part is not final:
                    final.put(at, part)
                at = at[going]
                part, task = final.take(at), problem.take(at)
    if part is not final:
        final.put(at, part)
    return final


def _initial_state(
    problem: PlateProblem, rotation_rad: FloatArray, shift: FloatArray
) -> SolverState:
    """Return a state strictly inside all cones, at the starting placement."""
    gap = rotate_points(problem.holes, rotation_rad) + shift[:, None] - problem.rods
    reach = np.hypot(gap[0], gap[1])
    over = reach - problem.clearance
    if problem.weight is None:
        t = over.max(axis=0) + 1.0
        slack = t + problem.clearance
    else:
        t = np.where(problem.weight > 0.0, over, -np.inf).max(axis=0) + 1.0
        slack = np.maximum(
            problem.weight * t + problem.clearance, reach + HELD_ROD_START_SLACK
        )
    m, g = reach.shape
    u = np.zeros((3, 2, m, g))
    u[0, 0], u[1:, 0] = slack, gap
    u[0, 1] = 1.0 / m
    x = np.stack((t, rotation_rad * problem.radius, shift[0], shift[1]))
    state = SolverState(x, u)
    if problem.limit is not None:
        state.limit_slack = np.maximum(limit_slacks(problem.limit, shift), 0.1)
        state.limit_multiplier = 0.1 / state.limit_slack
    return state


def _take_step(problem: PlateProblem, state: SolverState) -> BoolArray:
    """Take one predictor-corrector step in place; return the plates not done."""
    arm, residual, imbalance, gap = _residuals(problem, state)
    infeasible = np.maximum(
        np.abs(residual).max(axis=(0, 1)), np.abs(imbalance).max(axis=0)
    )
    if state.limit_slack is not None and problem.limit is not None:
        limit_residual = limit_slacks(problem.limit, state.x[2:]) - state.limit_slack
        infeasible = np.maximum(infeasible, np.abs(limit_residual).max(axis=0))
    # Rounding in the multipliers grows as the gap closes. Past a thousandth of the
    # target further steps only add noise, and the bound is repaired from the
    # multipliers as they are.
    unfinished: BoolArray = gap > problem.target_gap
    unfinished |= (infeasible > MAX_INFEASIBILITY) & (gap > 1e-3 * problem.target_gap)
    if not unfinished.any():
        return unfinished
    system = NewtonSystem(
        problem, state, arm, nesterov_todd_scaling(state.u), residual, imbalance
    )
    dx, du, limit_step = system.predict_and_correct(gap)
    length = np.minimum(
        1.0, BOUNDARY_FRACTION * system.max_step_lengths(du, limit_step)
    )
    # The step follows the tangent of the rotation, which is no guide over large angles.
    max_length = MAX_ROTATION_STEP_RAD * problem.radius / (np.abs(dx[1]) + TINY)
    np.minimum(length[0], max_length, out=length[0])
    # A plate whose step overflows stays where it was, and does not spoil the others.
    unfinished &= np.isfinite(du.sum(axis=(0, 1, 2)) + dx.sum(axis=0))
    if limit_step is not None:
        unfinished &= np.isfinite(limit_step[0].sum(axis=0) + limit_step[1].sum(axis=0))
    if not unfinished.all():
        dx, du = np.where(unfinished, dx, 0.0), np.where(unfinished, du, 0.0)
        if limit_step is not None:
            limit_step = (
                np.where(unfinished, limit_step[0], 0.0),
                np.where(unfinished, limit_step[1], 0.0),
            )
    _move(state, length, dx, du, limit_step)
    return unfinished


def _move(
    state: SolverState,
    length: FloatArray,
    dx: FloatArray,
    du: FloatArray,
    limit_step: LimitStep | None,
) -> None:
    """Add a step of these lengths (2, g) to the state, in place."""
    state.x += length[0] * dx
    state.u += length[:, None] * du
    if (
        state.limit_slack is not None
        and state.limit_multiplier is not None
        and limit_step is not None
    ):
        state.limit_slack += length[0] * limit_step[0]
        state.limit_multiplier += length[1] * limit_step[1]


def _residuals(
    problem: PlateProblem, state: SolverState
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return lever arms (2, m, g), cone residual, stationarity residual and gap."""
    x, s, z = state.x, state.s, state.z
    placed = rotate_points(problem.holes, x[1] / problem.radius)
    arm = placed / problem.radius if problem.free_rotation else np.zeros_like(placed)
    residual = np.empty_like(s)
    t = x[0] if problem.weight is None else x[0] * problem.weight
    residual[0] = t + problem.clearance - s[0]
    residual[1:] = placed + x[2:, None] - problem.rods - s[1:]
    imbalance = -generalised_forces(problem, arm, z)
    imbalance[0] += 1.0
    gap = (s * z).sum(axis=(0, 1))
    if state.limit_slack is not None and state.limit_multiplier is not None:
        imbalance[2:] += state.limit_multiplier[:2] - state.limit_multiplier[2:]
        gap = gap + (state.limit_slack * state.limit_multiplier).sum(axis=0)
    return arm, residual, imbalance, gap
