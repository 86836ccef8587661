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
from checks.engine.plate_fit.second_order_cone import (
    TINY,
    NesterovToddScaling,
    PlateSystem,
    cone_determinant,
    inverse_step_length,
    nesterov_todd_scaling,
)
from checks.engine.plate_fit.state import PlateProblem, SolverState, rotate_points

MAX_STEPS = 60
POLISH_AT_STEPS = (2, 3, 5, 7)  # by then most plates show which rods are active
MAX_INFEASIBILITY = 1e-7
REFINE_BELOW_GAP = 1e-5
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
        state.limit_slack = np.maximum(_limit_slacks(problem.limit, shift), 0.1)
        state.limit_multiplier = 0.1 / state.limit_slack
    return state


def _limit_slacks(limit: FloatArray, shift: FloatArray) -> FloatArray:
    """Return the slack of the shift (2, g) to its limits: +x, +y, -x, -y."""
    return np.concatenate((limit - shift, limit + shift))


_LimitStep = tuple[FloatArray, FloatArray]  # step of the limits' slack and multiplier


def _take_step(problem: PlateProblem, state: SolverState) -> BoolArray:
    """Take one predictor-corrector step in place; return the plates not done."""
    arm, residual, imbalance, gap = _residuals(problem, state)
    infeasible = np.maximum(
        np.abs(residual).max(axis=(0, 1)), np.abs(imbalance).max(axis=0)
    )
    if state.limit_slack is not None and problem.limit is not None:
        limit_residual = _limit_slacks(problem.limit, state.x[2:]) - state.limit_slack
        infeasible = np.maximum(infeasible, np.abs(limit_residual).max(axis=0))
    # Rounding in the multipliers grows as the gap closes. Past a thousandth of the
    # target further steps only add noise, and the bound is repaired from the
    # multipliers as they are.
    unfinished: BoolArray = gap > problem.target_gap
    unfinished |= (infeasible > MAX_INFEASIBILITY) & (gap > 1e-3 * problem.target_gap)
    if not unfinished.any():
        return unfinished
    system = _NewtonSystem(
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
    limit_step: _LimitStep | None,
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
    imbalance = -_generalised_forces(problem, arm, z)
    imbalance[0] += 1.0
    gap = (s * z).sum(axis=(0, 1))
    if state.limit_slack is not None and state.limit_multiplier is not None:
        imbalance[2:] += state.limit_multiplier[:2] - state.limit_multiplier[2:]
        gap = gap + (state.limit_slack * state.limit_multiplier).sum(axis=0)
    return arm, residual, imbalance, gap


def _generalised_forces(
    problem: PlateProblem, arm: FloatArray, u: FloatArray
) -> FloatArray:
    """Sum forces u (3, m, g) on the cones to a force on each unknown, (4, g)."""
    terms = np.empty((4, *u.shape[1:]))
    terms[0] = problem.apply_weight(u[0])
    np.subtract(arm[0] * u[2], arm[1] * u[1], out=terms[1])
    terms[2:] = u[1:]
    out: FloatArray = np.add.reduce(terms, axis=1)
    return out


class _NewtonSystem:
    """The Newton equations of one step, reduced to four unknowns per plate."""

    def __init__(
        self,
        problem: PlateProblem,
        state: SolverState,
        arm: FloatArray,
        scale: NesterovToddScaling,
        residual: FloatArray,
        imbalance: FloatArray,
    ) -> None:
        self.problem, self.state, self.scale = problem, state, scale
        self.arm, self.residual, self.imbalance = arm, residual, imbalance
        self.limit_residual: FloatArray | None = None
        w, e = scale.w, 1.0 / (scale.eta * scale.eta)
        e2 = 2.0 * e
        w1, w2 = e2 * w[1], e2 * w[2]
        terms = np.empty((10, *e.shape))  # of every cone: tt tx ty tq xx xy xq yy yq qq
        terms[0] = problem.apply_weight(problem.apply_weight(e2 * w[0] * w[0] - e))
        w0 = -problem.apply_weight(w[0])
        tx = np.multiply(w0, w1, out=terms[1])
        ty = np.multiply(w0, w2, out=terms[2])
        xx = np.add(w1 * w[1], e, out=terms[4])
        xy = np.multiply(w1, w[2], out=terms[5])
        yy = np.add(w2 * w[2], e, out=terms[7])
        a, b = -arm[1], arm[0]  # velocity of a hole as the plate rotates
        np.add(tx * a, ty * b, out=terms[3])
        xq = np.add(xx * a, xy * b, out=terms[6])
        yq = np.add(xy * a, yy * b, out=terms[8])
        np.add(a * xq, b * yq, out=terms[9])
        self.reduced = PlateSystem(np.add.reduce(terms, axis=1))
        if state.limit_slack is not None and state.limit_multiplier is not None:
            assert problem.limit is not None  # noqa: S101  (State built from it)
            stiff = state.limit_multiplier / state.limit_slack
            self.reduced.xx = self.reduced.xx + stiff[0] + stiff[2]
            self.reduced.yy = self.reduced.yy + stiff[1] + stiff[3]
            self.limit_residual = (
                _limit_slacks(problem.limit, state.x[2:]) - state.limit_slack
            )
        curve = (arm * state.z[1:]).sum(axis=(0, 1)) / problem.radius
        self.reduced.factor(curve if problem.free_rotation else None)

    def _cone_change(self, dx: FloatArray) -> FloatArray:
        """Return the change (3, m, g) of every cone's vector when x changes by dx."""
        arm = self.arm
        out = np.empty_like(self.residual)
        weight = self.problem.weight
        out[0] = dx[0] if weight is None else dx[0] * weight
        out[1] = dx[2] - arm[1] * dx[1]
        out[2] = dx[3] + arm[0] * dx[1]
        return out

    def _stationarity_error(
        self, dx: FloatArray, dz: FloatArray, limit_step: _LimitStep | None
    ) -> FloatArray:
        """Return the rounding error of the stationarity equations, (4, g)."""
        error: FloatArray = self.imbalance - _generalised_forces(
            self.problem, self.arm, dz
        )
        error[1] += self.reduced.curve * dx[1]
        if limit_step is not None:
            error[2:] += limit_step[1][:2] - limit_step[1][2:]
        return error

    def direction(
        self, k: FloatArray, limit_k: FloatArray | None, refine: bool = False
    ) -> tuple[FloatArray, FloatArray, _LimitStep | None]:
        """Solve for the step in x, in slacks and multipliers, and at the limits.

        `k` and `limit_k` are the right-hand sides of the complementarity equations.
        """
        state = self.state
        target = k + self.residual
        u = self.scale.inverse_square(target)
        rhs = -self.imbalance - _generalised_forces(self.problem, self.arm, u)
        if state.limit_slack is not None and state.limit_multiplier is not None:
            assert self.limit_residual is not None  # noqa: S101  (set with the limits)
            limit_k = state.limit_slack if limit_k is None else limit_k
            push = (
                (limit_k + self.limit_residual)
                * state.limit_multiplier
                / state.limit_slack
            )
            rhs[2:] += push[:2] - push[2:]
        dx = self.reduced.solve(rhs)
        move = self._cone_change(dx)
        dz = -self.scale.inverse_square(target + move)
        limit_step = self._limit_step(dx, limit_k)
        if refine:
            correction = self.reduced.solve(
                -self._stationarity_error(dx, dz, limit_step)
            )
            dx = dx + correction
            correction_move = self._cone_change(correction)
            move += correction_move
            dz -= self.scale.inverse_square(correction_move)
            limit_step = self._limit_step(dx, limit_k)
        du = np.empty_like(state.u)
        np.add(self.residual, move, out=du[:, 0])
        du[:, 1] = dz
        return dx, du, limit_step

    def predict_and_correct(
        self, gap: FloatArray
    ) -> tuple[FloatArray, FloatArray, _LimitStep | None]:
        """Solve for a full step, then again with its second-order term.

        The first, affine step shows how far the gap (g,) can close. The second aims at
        the central path accordingly (Mehrotra).
        """
        state, rods = self.state, self.arm.shape[1]
        _, du, limit_step = self.direction(state.s, None)
        after = self.gap_after(du, limit_step, self.max_step_lengths(du, limit_step))
        sigma = np.clip(after / np.maximum(gap, TINY), 0.0, 1.0) ** 3
        centre = sigma * gap / (rods + (0 if state.limit_slack is None else 4))
        k = self.corrected_slacks(du, centre)
        limit_k = self.corrected_limit_slacks(limit_step, centre)
        # Where the gap is small the multipliers are differences of large terms: one
        # step of iterative refinement restores the digits they lose.
        fine = bool(gap.min() < REFINE_BELOW_GAP)
        return self.direction(k, limit_k, refine=fine)

    def _limit_step(
        self, dx: FloatArray, limit_k: FloatArray | None
    ) -> _LimitStep | None:
        state = self.state
        if (
            state.limit_slack is None
            or state.limit_multiplier is None
            or limit_k is None
        ):
            return None
        assert self.limit_residual is not None  # noqa: S101  (set with the limits)
        dl = self.limit_residual + np.concatenate((-dx[2:], dx[2:]))
        return dl, -(limit_k + dl) * state.limit_multiplier / state.limit_slack

    def max_step_lengths(
        self, du: FloatArray, limit_step: _LimitStep | None
    ) -> FloatArray:
        """Return the longest steps (2, g) of slacks and multipliers in the cones."""
        state = self.state
        rate = inverse_step_length(state.u, du, self.scale.det)
        if limit_step is not None:
            assert state.limit_slack is not None  # noqa: S101  (set with the step)
            assert state.limit_multiplier is not None  # noqa: S101
            rate[0] = np.maximum(
                rate[0], (-limit_step[0] / state.limit_slack).max(axis=0)
            )
            rate[1] = np.maximum(
                rate[1], (-limit_step[1] / state.limit_multiplier).max(axis=0)
            )
        out: FloatArray = 1.0 / np.maximum(rate, 1e-3)
        return out

    def gap_after(
        self, du: FloatArray, limit_step: _LimitStep | None, length: FloatArray
    ) -> FloatArray:
        """Return the gap (g,) after steps of these lengths (2, g), at most 1."""
        state = self.state
        length = np.minimum(length, 1.0)
        new = state.u + length[:, None] * du
        after = (new[:, 0] * new[:, 1]).sum(axis=(0, 1))
        if limit_step is not None:
            assert state.limit_slack is not None  # noqa: S101  (set with the step)
            assert state.limit_multiplier is not None  # noqa: S101
            slack = state.limit_slack + length[0] * limit_step[0]
            after = after + (
                slack * (state.limit_multiplier + length[1] * limit_step[1])
            ).sum(axis=0)
        out: FloatArray = after
        return out

    def corrected_slacks(self, du: FloatArray, centre: FloatArray) -> FloatArray:
        """Return s plus the second-order term of the complementarity, (3, m, g)."""
        lam = self.scale.apply(self.state.z)
        p, q = self.scale.unapply(du[:, 0]), self.scale.apply(du[:, 1])
        d0 = (p * q).sum(axis=0) - centre
        d1 = p[0] * q[1] + q[0] * p[1]
        d2 = p[0] * q[2] + q[0] * p[2]
        out = np.empty_like(lam)
        slack = (lam[0] * d0 - lam[1] * d1 - lam[2] * d2) / cone_determinant(lam)
        out[0] = slack
        out[1] = (d1 - slack * lam[1]) / lam[0]
        out[2] = (d2 - slack * lam[2]) / lam[0]
        return self.state.s + self.scale.apply(out)

    def corrected_limit_slacks(
        self, limit_step: _LimitStep | None, centre: FloatArray
    ) -> FloatArray | None:
        if (
            limit_step is None
            or self.state.limit_slack is None
            or self.state.limit_multiplier is None
        ):
            return None
        out: FloatArray = (
            self.state.limit_slack
            + (limit_step[0] * limit_step[1] - centre) / self.state.limit_multiplier
        )
        return out
