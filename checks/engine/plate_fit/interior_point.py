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
POLISH_AT_STEPS = (2, 3, 5, 7)  # steps: by then most plates show which rods touch
MAX_INFEASIBILITY = 1e-7
REFINE_BELOW_GAP = 1e-5
MAX_ROTATION_STEP_RAD = 0.2  # rad in one step
BOUNDARY_FRACTION = 0.98  # share of the way to the edge of the cone
HELD_ROD_START_SLACK = 0.1  # a held rod begins this far inside its cone


def solve_interior_point(
    problem: PlateProblem, turn_rad: FloatArray, shift: FloatArray
) -> SolverState:
    """Solve every plate from a starting rotation (g,) and shift (2, g)."""
    whole = _initial_state(problem, turn_rad, shift)
    part, task = whole, problem
    at = np.arange(turn_rad.size)
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        for step in range(MAX_STEPS):
            on = _take_step(task, part)
            closed = step in POLISH_AT_STEPS
            if closed:
                on &= ~polish_active_set(task, part)
            going = np.flatnonzero(on)
            if going.size == 0:
                break
            # Plates that are done leave the batch: at the very bottom no step is left
            # that floats can represent. Copying pays only once enough have left.
            if closed or going.size < 0.7 * part.x.shape[1]:
                if part is not whole:
                    whole.put(at, part)
                at = at[going]
                part, task = whole.take(at), problem.take(at)
    if part is not whole:
        whole.put(at, part)
    return whole


def _initial_state(
    problem: PlateProblem, turn_rad: FloatArray, shift: FloatArray
) -> SolverState:
    gap = rotate_points(problem.holes, turn_rad) + shift[:, None] - problem.rods
    reach = np.hypot(gap[0], gap[1])
    over = reach - problem.clearance
    if problem.weight is None:
        t = over.max(axis=0) + 1.0
        top = t + problem.clearance
    else:
        t = np.where(problem.weight > 0.0, over, -np.inf).max(axis=0) + 1.0
        top = np.maximum(
            problem.weight * t + problem.clearance, reach + HELD_ROD_START_SLACK
        )
    m, g = reach.shape
    u = np.zeros((3, 2, m, g))
    u[0, 0], u[1:, 0] = top, gap
    u[0, 1] = 1.0 / m
    x = np.stack((t, turn_rad * problem.radius, shift[0], shift[1]))
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
    arm, residual, rest, gap = _residuals(problem, state)
    infeasible = np.maximum(np.abs(residual).max(axis=(0, 1)), np.abs(rest).max(axis=0))
    if state.limit_slack is not None and problem.limit is not None:
        off = _limit_slacks(problem.limit, state.x[2:]) - state.limit_slack
        infeasible = np.maximum(infeasible, np.abs(off).max(axis=0))
    # Rounding in the multipliers grows as the gap closes. Past a thousandth of the
    # target further steps only add noise, and the bound is repaired from the
    # multipliers as they are.
    going: BoolArray = gap > problem.goal
    going |= (infeasible > MAX_INFEASIBILITY) & (gap > 1e-3 * problem.goal)
    if not going.any():
        return going
    system = _NewtonSystem(
        problem, state, arm, nesterov_todd_scaling(state.u), residual, rest
    )
    dx, du, edge = system.direction(state.s, None)
    after = system.gap_after(du, edge, system.max_step_lengths(du, edge))
    sigma = np.clip(after / np.maximum(gap, TINY), 0.0, 1.0) ** 3
    centre = sigma * gap / (arm.shape[1] + (0 if state.limit_slack is None else 4))
    k = system.corrected_slacks(du, centre)
    ek = system.corrected_limit_slacks(edge, centre)
    # Where the gap is small the multipliers are differences of large terms: one step
    # of iterative refinement restores the digits they lose.
    fine = bool(gap.min() < REFINE_BELOW_GAP)
    dx, du, edge = system.direction(k, ek, refine=fine)
    length = np.minimum(1.0, BOUNDARY_FRACTION * system.max_step_lengths(du, edge))
    # The step follows the tangent of the rotation, which is no guide over large angles.
    most = MAX_ROTATION_STEP_RAD * problem.radius / (np.abs(dx[1]) + TINY)
    np.minimum(length[0], most, out=length[0])
    # A plate whose step overflows stays where it was, and does not spoil the others.
    going &= np.isfinite(du.sum(axis=(0, 1, 2)) + dx.sum(axis=0))
    if edge is not None:
        going &= np.isfinite(edge[0].sum(axis=0) + edge[1].sum(axis=0))
    if not going.all():
        dx, du = np.where(going, dx, 0.0), np.where(going, du, 0.0)
        if edge is not None:
            edge = (np.where(going, edge[0], 0.0), np.where(going, edge[1], 0.0))
    state.x += length[0] * dx
    state.u += length[:, None] * du
    if (
        state.limit_slack is not None
        and state.limit_multiplier is not None
        and edge is not None
    ):
        state.limit_slack += length[0] * edge[0]
        state.limit_multiplier += length[1] * edge[1]
    return going


def _residuals(
    problem: PlateProblem, state: SolverState
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return lever arms (2, m, g), cone residual, stationarity residual and gap."""
    x, s, z = state.x, state.s, state.z
    placed = rotate_points(problem.holes, x[1] / problem.radius)
    arm = placed / problem.radius if problem.turning else np.zeros_like(placed)
    residual = np.empty_like(s)
    t = x[0] if problem.weight is None else x[0] * problem.weight
    residual[0] = t + problem.clearance - s[0]
    residual[1:] = placed + x[2:, None] - problem.rods - s[1:]
    rest = -_generalised_forces(problem, arm, z)
    rest[0] += 1.0
    gap = (s * z).sum(axis=(0, 1))
    if state.limit_slack is not None and state.limit_multiplier is not None:
        rest[2:] += state.limit_multiplier[:2] - state.limit_multiplier[2:]
        gap = gap + (state.limit_slack * state.limit_multiplier).sum(axis=0)
    return arm, residual, rest, gap


def _generalised_forces(
    problem: PlateProblem, arm: FloatArray, u: FloatArray
) -> FloatArray:
    """Sum forces u (3, m, g) on the cones to a force on each unknown, (4, g)."""
    each = np.empty((4, *u.shape[1:]))
    each[0] = problem.apply_weight(u[0])
    np.subtract(arm[0] * u[2], arm[1] * u[1], out=each[1])
    each[2:] = u[1:]
    out: FloatArray = np.add.reduce(each, axis=1)
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
        rest: FloatArray,
    ) -> None:
        self.problem, self.state, self.scale = problem, state, scale
        self.arm, self.residual, self.rest = arm, residual, rest
        self.off: FloatArray | None = None
        w, e = scale.w, 1.0 / (scale.eta * scale.eta)
        e2 = 2.0 * e
        w1, w2 = e2 * w[1], e2 * w[2]
        each = np.empty((10, *e.shape))  # of every cone: tt tx ty tq xx xy xq yy yq qq
        each[0] = problem.apply_weight(problem.apply_weight(e2 * w[0] * w[0] - e))
        w0 = -problem.apply_weight(w[0])
        tx = np.multiply(w0, w1, out=each[1])
        ty = np.multiply(w0, w2, out=each[2])
        xx = np.add(w1 * w[1], e, out=each[4])
        xy = np.multiply(w1, w[2], out=each[5])
        yy = np.add(w2 * w[2], e, out=each[7])
        a, b = -arm[1], arm[0]  # velocity of a hole as the plate rotates
        np.add(tx * a, ty * b, out=each[3])
        xq = np.add(xx * a, xy * b, out=each[6])
        yq = np.add(xy * a, yy * b, out=each[8])
        np.add(a * xq, b * yq, out=each[9])
        self.n = PlateSystem(np.add.reduce(each, axis=1))
        if state.limit_slack is not None and state.limit_multiplier is not None:
            assert problem.limit is not None  # noqa: S101  (State built from it)
            stiff = state.limit_multiplier / state.limit_slack
            self.n.xx = self.n.xx + stiff[0] + stiff[2]
            self.n.yy = self.n.yy + stiff[1] + stiff[3]
            self.off = _limit_slacks(problem.limit, state.x[2:]) - state.limit_slack
        curve = (arm * state.z[1:]).sum(axis=(0, 1)) / problem.radius
        self.n.factor(curve if problem.turning else None)

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
        self, dx: FloatArray, dz: FloatArray, edge: _LimitStep | None
    ) -> FloatArray:
        """Return the rounding error of the stationarity equations, (4, g)."""
        left: FloatArray = self.rest - _generalised_forces(self.problem, self.arm, dz)
        left[1] += self.n.curve * dx[1]
        if edge is not None:
            left[2:] += edge[1][:2] - edge[1][2:]
        return left

    def direction(
        self, k: FloatArray, edge_k: FloatArray | None, refine: bool = False
    ) -> tuple[FloatArray, FloatArray, _LimitStep | None]:
        """Solve for the step in x, in slacks and multipliers, and at the limits.

        `k` and `edge_k` are the right-hand sides of the complementarity equations.
        """
        state = self.state
        asked = k + self.residual
        u = self.scale.inverse_square(asked)
        rhs = -self.rest - _generalised_forces(self.problem, self.arm, u)
        if state.limit_slack is not None and state.limit_multiplier is not None:
            assert self.off is not None  # noqa: S101  (set with the edges)
            edge_k = state.limit_slack if edge_k is None else edge_k
            push = (edge_k + self.off) * state.limit_multiplier / state.limit_slack
            rhs[2:] += push[:2] - push[2:]
        dx = self.n.solve(rhs)
        move = self._cone_change(dx)
        dz = -self.scale.inverse_square(asked + move)
        edge = self._limit_step(dx, edge_k)
        if refine:
            again = self.n.solve(-self._stationarity_error(dx, dz, edge))
            dx = dx + again
            extra = self._cone_change(again)
            move += extra
            dz -= self.scale.inverse_square(extra)
            edge = self._limit_step(dx, edge_k)
        du = np.empty_like(state.u)
        np.add(self.residual, move, out=du[:, 0])
        du[:, 1] = dz
        return dx, du, edge

    def _limit_step(
        self, dx: FloatArray, edge_k: FloatArray | None
    ) -> _LimitStep | None:
        state = self.state
        if (
            state.limit_slack is None
            or state.limit_multiplier is None
            or edge_k is None
        ):
            return None
        assert self.off is not None  # noqa: S101  (set with the edges)
        dl = self.off + np.concatenate((-dx[2:], dx[2:]))
        return dl, -(edge_k + dl) * state.limit_multiplier / state.limit_slack

    def max_step_lengths(self, du: FloatArray, edge: _LimitStep | None) -> FloatArray:
        """Return the longest steps (2, g) of slacks and multipliers in the cones."""
        state = self.state
        rate = inverse_step_length(state.u, du, self.scale.det)
        if edge is not None:
            assert state.limit_slack is not None  # noqa: S101  (set with the step)
            assert state.limit_multiplier is not None  # noqa: S101
            rate[0] = np.maximum(rate[0], (-edge[0] / state.limit_slack).max(axis=0))
            rate[1] = np.maximum(
                rate[1], (-edge[1] / state.limit_multiplier).max(axis=0)
            )
        out: FloatArray = 1.0 / np.maximum(rate, 1e-3)
        return out

    def gap_after(
        self, du: FloatArray, edge: _LimitStep | None, length: FloatArray
    ) -> FloatArray:
        """Return the gap (g,) after steps of these lengths (2, g), at most 1."""
        state = self.state
        length = np.minimum(length, 1.0)
        new = state.u + length[:, None] * du
        after = (new[:, 0] * new[:, 1]).sum(axis=(0, 1))
        if edge is not None:
            assert state.limit_slack is not None  # noqa: S101  (set with the step)
            assert state.limit_multiplier is not None  # noqa: S101
            slack = state.limit_slack + length[0] * edge[0]
            after = after + (
                slack * (state.limit_multiplier + length[1] * edge[1])
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
        top = (lam[0] * d0 - lam[1] * d1 - lam[2] * d2) / cone_determinant(lam)
        out[0] = top
        out[1] = (d1 - top * lam[1]) / lam[0]
        out[2] = (d2 - top * lam[2]) / lam[0]
        return self.state.s + self.scale.apply(out)

    def corrected_limit_slacks(
        self, edge: _LimitStep | None, centre: FloatArray
    ) -> FloatArray | None:
        if (
            edge is None
            or self.state.limit_slack is None
            or self.state.limit_multiplier is None
        ):
            return None
        out: FloatArray = (
            self.state.limit_slack
            + (edge[0] * edge[1] - centre) / self.state.limit_multiplier
        )
        return out
