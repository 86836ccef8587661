"""The Newton equations of the interior point method, for many plates at once.

Eliminating slacks and multipliers leaves a symmetric 4 x 4 system per plate, in t,
rotation and shift; `second_order_cone` factors it. Array shapes are as in `state`.
"""

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.plate_fit.second_order_cone import (
    TINY,
    NesterovToddScaling,
    PlateSystem,
    cone_determinant,
    inverse_step_length,
)
from checks.engine.plate_fit.state import PlateProblem, SolverState

REFINE_BELOW_GAP = 1e-5

LimitStep = tuple[FloatArray, FloatArray]  # step of the limits' slack and multiplier


def limit_slacks(limit: FloatArray, shift: FloatArray) -> FloatArray:
    """Return the slack of the shift (2, g) to its limits: +x, +y, -x, -y."""
    return np.concatenate((limit - shift, limit + shift))


def generalised_forces(
    problem: PlateProblem, arm: FloatArray, u: FloatArray
) -> FloatArray:
    """Sum forces u (3, m, g) on the cones to a force on each unknown, (4, g)."""
    terms = np.empty((4, *u.shape[1:]))
    terms[0] = problem.apply_weight(u[0])
    np.subtract(arm[0] * u[2], arm[1] * u[1], out=terms[1])
    terms[2:] = u[1:]
    out: FloatArray = np.add.reduce(terms, axis=1)
    return out


class NewtonSystem:
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
                limit_slacks(problem.limit, state.x[2:]) - state.limit_slack
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
        self, dx: FloatArray, dz: FloatArray, limit_step: LimitStep | None
    ) -> FloatArray:
        """Return the rounding error of the stationarity equations, (4, g)."""
        error: FloatArray = self.imbalance - generalised_forces(
            self.problem, self.arm, dz
        )
        error[1] += self.reduced.curve * dx[1]
        if limit_step is not None:
            error[2:] += limit_step[1][:2] - limit_step[1][2:]
        return error

    def direction(
        self, k: FloatArray, limit_k: FloatArray | None, refine: bool = False
    ) -> tuple[FloatArray, FloatArray, LimitStep | None]:
        """Solve for the step in x, in slacks and multipliers, and at the limits.

        `k` and `limit_k` are the right-hand sides of the complementarity equations.
        """
        state = self.state
        target = k + self.residual
        u = self.scale.inverse_square(target)
        rhs = -self.imbalance - generalised_forces(self.problem, self.arm, u)
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
    ) -> tuple[FloatArray, FloatArray, LimitStep | None]:
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
    ) -> LimitStep | None:
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
        self, du: FloatArray, limit_step: LimitStep | None
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
        self, du: FloatArray, limit_step: LimitStep | None, length: FloatArray
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
        self, limit_step: LimitStep | None, centre: FloatArray
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
