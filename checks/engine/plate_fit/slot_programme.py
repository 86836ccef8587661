"""Placement of plates with slotted holes: a second-order cone programme, many at once.

A hole slotted along one of the plate's axes, by e beyond the hole at the rod's side,
takes a rod whose centre is within the hole's clearance of a segment of length e. As
the side is free, that is the segment from -e to e along the axis a, and the rod stands
at some point p of it:

    |R(q) (hole_i + p_i a_i) + shift - rod_i| <= clearance_i,   -e <= p_i <= e

and p_i = 0 for a hole that stays round. Shift and rotation are bounded. Two programmes
are solved: `place_open_slots` asks whether a placement exists with slots as long as
they need be (least t with clearance_i + t, every p_i free), and `shorten_slots` finds
the least e. Both are convex but for the rotation, which is small: every Newton step
linearises it about the angle reached, and the residual is that of the true rotation.

Primal-dual interior point method with Nesterov-Todd scaling and Mehrotra's
predictor-corrector [1]_. Arrays are (..., m, n): m holes of n placements; in the dense
equations the placements come first. Lengths in mm from the holes' centroid.

References
----------
.. [1] L. Vandenberghe, "The CVXOPT linear and quadratic cone program solvers", 2010,
   sections 4 and 7.
"""

from dataclasses import dataclass, replace

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.plate_fit.second_order_cone import (
    TINY,
    NesterovToddScaling,
    cone_determinant,
    inverse_step_length,
    nesterov_todd_scaling,
)
from checks.engine.plate_fit.state import rotate_points

MAX_STEPS = 50
TARGET_GAP_MM = 1e-7  # a tenth of what an answer must be good to
MAX_RESIDUAL_MM = 1e-8
BOUNDARY_FRACTION = 0.98
START_SLACK = 0.1
FITS_WITH_ROOM_MM = -1e-4  # a placement found with so much room needs no better one
UNKNOWNS = 4  # level (t or e), rotation times radius, shift x and y; then each p


@dataclass(frozen=True, slots=True, kw_only=True)
class SlottedPlates:
    """Plates with some holes slotted. [mm], from the holes' centroid.

    `axis` is the unit axis of each slot, and zero for a hole that stays round.
    """

    holes: FloatArray  # (2, m, n)
    rods: FloatArray  # (2, m, n)
    clearance: FloatArray  # (m, n)
    axis: FloatArray  # (2, m, n)
    shift_limit: FloatArray  # (2, n)
    rotation_limit: FloatArray  # (n,) [rad]

    def take(self, at: IntArray | BoolArray) -> "SlottedPlates":
        return replace(
            self,
            holes=self.holes[..., at],
            rods=self.rods[..., at],
            clearance=self.clearance[..., at],
            axis=self.axis[..., at],
            shift_limit=self.shift_limit[..., at],
            rotation_limit=self.rotation_limit[at],
        )

    @property
    def slotted(self) -> BoolArray:
        """True for a hole that is slotted, (m, n)."""
        out: BoolArray = np.asarray((self.axis != 0.0).any(axis=0))
        return out

    def rods_in_plate_axes(self, rotation: FloatArray, shift: FloatArray) -> FloatArray:
        """Return each rod from its hole, in the plate's own axes, (2, m, n)."""
        return rotate_points(self.rods - shift[:, None], -rotation) - self.holes

    def split_gap(
        self, rotation: FloatArray, shift: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return how far each rod is along its slot's axis, and beside it, (m, n).

        A hole that stays round has no axis: the whole distance is beside it.
        """
        gap = self.rods_in_plate_axes(rotation, shift)
        along: FloatArray = (gap * self.axis).sum(axis=0)
        beside = gap - along * self.axis
        return along, np.hypot(beside[0], beside[1])

    def excess(self, rotation: FloatArray, shift: FloatArray) -> FloatArray:
        """Return the largest distance beside a hole or slot less clearance, (n,)."""
        _, beside = self.split_gap(rotation, shift)
        out: FloatArray = (beside - self.clearance).max(axis=0)
        return out

    def extension(self, rotation: FloatArray, shift: FloatArray) -> FloatArray:
        """Return how far each slot reaches beyond its hole, (m, n); zero if round."""
        along, beside = self.split_gap(rotation, shift)
        room = np.sqrt(np.maximum(self.clearance**2 - beside**2, 0.0))
        return np.where(self.slotted, np.maximum(np.abs(along) - room, 0.0), 0.0)


@dataclass(slots=True)
class SlottedPlacement:
    """Rotation (n,) and shift (2, n) of plates, within their limits. [rad], [mm]"""

    rotation: FloatArray
    shift: FloatArray
    converged: BoolArray  # (n,)


def place_open_slots(plates: SlottedPlates) -> SlottedPlacement:
    """Place each plate where its rods miss round holes and slots least.

    Slots are as long as they need be. The search of a plate ends early where a
    placement has room to spare, or where the duality gap shows that none exists.
    """
    return _Solver(plates, shorten=False, start=None).solve()


def shorten_slots(plates: SlottedPlates, start: SlottedPlacement) -> SlottedPlacement:
    """Place each plate with the least longest slot, from a placement that goes on."""
    return _Solver(plates, shorten=True, start=start).solve()


class _Solver:
    """The interior point method; see the module's docstring."""

    def __init__(
        self, plates: SlottedPlates, *, shorten: bool, start: SlottedPlacement | None
    ) -> None:
        self.plates, self.shorten = plates, shorten
        m, n = plates.clearance.shape
        self.m, self.size = m, UNKNOWNS + m
        reach = np.hypot(plates.holes[0], plates.holes[1]).max(axis=0)
        self.radius = np.maximum(reach, 1.0)
        self.limit = np.concatenate(
            ((plates.rotation_limit * self.radius)[None], plates.shift_limit)
        )
        self.x = np.zeros((n, self.size))
        if start is not None:
            self.x[:, 1] = start.rotation * self.radius
            self.x[:, 2:UNKNOWNS] = start.shift.T
        self._set_inequalities()
        self._start_inside()

    def _set_inequalities(self) -> None:
        """Set G and b of G x <= b: limits of the placement, and of p by e."""
        m, n = self.m, self.plates.clearance.shape[1]
        rows = 6 + (2 * m if self.shorten else 0)
        self.g, self.b = np.zeros((n, rows, self.size)), np.ones((n, rows))
        for k in range(3):
            self.g[:, k, 1 + k], self.g[:, 3 + k, 1 + k] = 1.0, -1.0
        self.b[:, :3] = self.b[:, 3:6] = self.limit.T
        if self.shorten:
            slotted = self.plates.slotted.T
            for i in range(m):
                for side, row in ((1.0, 6 + i), (-1.0, 6 + m + i)):
                    self.g[:, row, UNKNOWNS + i] = side * slotted[:, i]
                    self.g[:, row, 0] = -1.0 * slotted[:, i]
                    self.b[:, row] = ~slotted[:, i]

    def _start_inside(self) -> None:
        """Start with every slack and multiplier inside its cone."""
        rotation, shift = self._placement()
        along, beside = self.plates.split_gap(rotation, shift)
        self.x[:, UNKNOWNS:] = along.T
        if self.shorten:
            self.x[:, 0] = np.abs(along).max(axis=0) + 1.0
        else:
            self.x[:, 0] = (beside - self.plates.clearance).max(axis=0) + 1.0
        cone = self._cone_vectors()[0]
        reach = np.hypot(cone[1], cone[2])
        cone[0] = np.maximum(cone[0], reach + START_SLACK)
        self.u = np.zeros((3, 2, *reach.shape))
        self.u[:, 0], self.u[0, 1] = cone, 1.0 / self.m
        slack = self.b - self._apply_inequalities(self.x)
        self.slack = np.maximum(slack, START_SLACK)
        self.push = START_SLACK / self.slack

    def _placement(self) -> tuple[FloatArray, FloatArray]:
        """Return rotation (n,) and shift (2, n) reached, clipped to their limits."""
        inside = np.clip(self.x[:, 1:UNKNOWNS].T, -self.limit, self.limit)
        return inside[0] / self.radius, inside[1:]

    def _apply_inequalities(self, x: FloatArray) -> FloatArray:
        out: FloatArray = (self.g @ x[:, :, None])[:, :, 0]
        return out

    def _cone_vectors(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return cone vectors (3, m, n), placed points and axes (2, m, n)."""
        plates, angle = self.plates, self.x[:, 1] / self.radius
        axis = rotate_points(plates.axis, angle)
        point = plates.holes + self.x[:, UNKNOWNS:].T * plates.axis
        placed = rotate_points(point, angle)
        cone = np.empty((3, *plates.clearance.shape))
        cone[0] = plates.clearance + (0.0 if self.shorten else self.x[:, 0])
        cone[1:] = placed + self.x[:, 2:UNKNOWNS].T[:, None] - plates.rods
        return cone, placed, axis

    def _jacobian(self, placed: FloatArray, axis: FloatArray) -> FloatArray:
        """Return the derivative of every cone vector, (n, m, 3, unknowns)."""
        m, n = placed.shape[1:]
        out = np.zeros((n, m, 3, self.size))
        out[..., 0, 0] = 0.0 if self.shorten else 1.0
        out[..., 1, 1] = -(placed[1] / self.radius).T
        out[..., 2, 1] = (placed[0] / self.radius).T
        out[..., 1, 2] = out[..., 2, 3] = 1.0
        rows = np.arange(m)
        out[:, rows, 1, UNKNOWNS + rows] = axis[0].T
        out[:, rows, 2, UNKNOWNS + rows] = axis[1].T
        return out

    def solve(self) -> SlottedPlacement:
        """Solve every plate; those that are done leave the batch."""
        n = self.x.shape[0]
        final = SlottedPlacement(np.zeros(n), np.zeros((2, n)), np.zeros(n, np.bool_))
        at = np.arange(n)
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            for _ in range(MAX_STEPS):
                done = self._take_step()
                final.rotation[at], final.shift[:, at] = self._placement()
                final.converged[at] = done
                going = ~done & np.isfinite(self.x).all(axis=1)
                if not going.any():
                    break
                if not going.all():
                    at = at[going]
                    self._keep(going)
        return final

    def _keep(self, going: BoolArray) -> None:
        self.plates = self.plates.take(going)
        self.radius, self.limit = self.radius[going], self.limit[:, going]
        self.x, self.u = self.x[going], self.u[..., going]
        self.slack, self.push = self.slack[going], self.push[going]
        self.g, self.b = self.g[going], self.b[going]

    def _take_step(self) -> BoolArray:
        """Take one predictor-corrector step in place; return the plates done (n,)."""
        cone, placed, axis = self._cone_vectors()
        jacobian = self._jacobian(placed, axis)
        residual = cone - self.u[:, 0]
        slack_residual = self.b - self._apply_inequalities(self.x) - self.slack
        imbalance = -_sum_forces(jacobian, self.u[:, 1])
        imbalance += (self.push[:, None] @ self.g)[:, 0]
        imbalance[:, 0] += 1.0
        gap = (self.u[:, 0] * self.u[:, 1]).sum(axis=(0, 1))
        gap = gap + (self.slack * self.push).sum(axis=1)
        infeasible = np.maximum(
            np.abs(residual).max(axis=(0, 1)), np.abs(slack_residual).max(axis=1)
        )
        done = self._find_done(gap, infeasible, np.abs(imbalance).max(axis=1))
        step = _StepEquations(self, jacobian, residual, slack_residual, imbalance)
        step.add_curvature(placed)
        step.move(gap, ~done)
        return done

    def _find_done(
        self, gap: FloatArray, infeasible: FloatArray, imbalance: FloatArray
    ) -> BoolArray:
        """Return the plates (n,) whose answer is reached, or known well enough."""
        # Rounding in the multipliers grows as the gap closes: past its target further
        # steps only add noise to the balance of forces.
        done: BoolArray = (gap <= TARGET_GAP_MM) & (infeasible <= MAX_RESIDUAL_MM)
        if not self.shorten:
            done |= self.plates.excess(*self._placement()) <= FITS_WITH_ROOM_MM
            # The level less the gap is a bound once the equations hold.
            sure = np.maximum(infeasible, imbalance) <= 1e-6
            done |= sure & (self.x[:, 0] - gap > 1e-3)
        return done


def _sum_forces(jacobian: FloatArray, u: FloatArray) -> FloatArray:
    """Sum forces u (3, m, n) on the cones to a force on each unknown, (n, size)."""
    n = u.shape[2]
    flat = u.transpose(2, 1, 0).reshape(n, 1, -1)
    out: FloatArray = (flat @ jacobian.reshape(n, flat.shape[2], -1))[:, 0]
    return out


class _StepEquations:
    """The Newton equations of one step, reduced to the unknowns of each plate."""

    def __init__(
        self,
        solver: _Solver,
        jacobian: FloatArray,
        residual: FloatArray,
        slack_residual: FloatArray,
        imbalance: FloatArray,
    ) -> None:
        self.solver, self.jacobian = solver, jacobian
        self.residual, self.slack_residual = residual, slack_residual
        self.imbalance = imbalance
        self.scale: NesterovToddScaling = nesterov_todd_scaling(solver.u)
        self.stiff = solver.push / solver.slack
        n, m, _, size = jacobian.shape
        inner = (self._inverse_square() @ jacobian).reshape(n, 3 * m, size)
        flat = jacobian.reshape(n, 3 * m, size).transpose(0, 2, 1)
        self.system: FloatArray = flat @ inner
        weighted = solver.g * self.stiff[:, :, None]
        self.system += solver.g.transpose(0, 2, 1) @ weighted
        unused = np.arange(UNKNOWNS, size)
        # A round hole has no p: an equation of its own keeps it at zero.
        self.system[:, unused, unused] += ~solver.plates.slotted.T
        if solver.shorten:
            self.system[:, 0, 0] += TINY

    def _inverse_square(self) -> FloatArray:
        """Return W^-2 = (2 Jw (Jw)' - J) / eta^2 of every cone, (n, m, 3, 3)."""
        w = self.scale.w.transpose(2, 1, 0) * [1.0, -1.0, -1.0]
        out = 2.0 * w[..., :, None] * w[..., None, :]
        out -= np.diag([1.0, -1.0, -1.0])
        return out / (self.scale.eta.T**2)[..., None, None]

    def add_curvature(self, placed: FloatArray) -> None:
        """Add the curvature of the rotation itself, as far as it keeps the system."""
        z = self.solver.u[1:, 1]
        curve = (z * placed).sum(axis=(0, 1)) / self.solver.radius**2
        own = self.system[:, 1, 1]
        self.system[:, 1, 1] = np.maximum(own + curve, 0.5 * own)

    def _direction(
        self, k: FloatArray, limit_k: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Solve for the steps of unknowns, cones, inequality slacks and multipliers."""
        solver = self.solver
        right = -self.imbalance - _sum_forces(
            self.jacobian, self.scale.inverse_square(k + self.residual)
        )
        pushed = (limit_k + self.slack_residual) * self.stiff
        right += (pushed[:, None] @ solver.g)[:, 0]
        dx = np.asarray(
            np.linalg.solve(self.system, right[:, :, None])[:, :, 0], dtype=np.float64
        )
        n, m, _, size = self.jacobian.shape
        moved = (self.jacobian.reshape(n, 3 * m, size) @ dx[:, :, None]).reshape(
            n, m, 3
        )
        du = np.empty_like(solver.u)
        du[:, 0] = self.residual + moved.transpose(2, 1, 0)
        du[:, 1] = -self.scale.inverse_square(k + du[:, 0])
        dl = self.slack_residual - solver._apply_inequalities(dx)
        return dx, du, dl, -(limit_k + dl) * self.stiff

    def _step_lengths(
        self, du: FloatArray, dl: FloatArray, dpush: FloatArray
    ) -> FloatArray:
        """Return the longest steps (2, n) of slacks and multipliers."""
        solver = self.solver
        rate = inverse_step_length(solver.u, du, self.scale.det)
        rate[0] = np.maximum(rate[0], (-dl / solver.slack).max(axis=1))
        rate[1] = np.maximum(rate[1], (-dpush / solver.push).max(axis=1))
        out: FloatArray = 1.0 / np.maximum(rate, 1e-3)
        return out

    def move(self, gap: FloatArray, going: BoolArray) -> None:
        """Predict, correct and step; plates that are done stay where they are."""
        solver, slack, push = self.solver, self.solver.slack, self.solver.push
        try:
            _, du, dl, dpush = self._direction(solver.u[:, 0], slack)
            length = np.minimum(self._step_lengths(du, dl, dpush), 1.0)
            new = solver.u + length[:, None] * du
            after = (new[:, 0] * new[:, 1]).sum(axis=(0, 1))
            after += (
                (slack + length[0][:, None] * dl) * (push + length[1][:, None] * dpush)
            ).sum(axis=1)
            sigma = np.clip(after / np.maximum(gap, TINY), 0.0, 1.0) ** 3
            centre = sigma * gap / (self.jacobian.shape[1] + slack.shape[1])
            k = self._corrected_slacks(du, centre)
            limit_k = slack + (dl * dpush - centre[:, None]) / push
            dx, du, dl, dpush = self._direction(k, limit_k)
        except np.linalg.LinAlgError:
            solver.x[:] = np.nan  # a singular system: the plates are given up
            return
        length = np.minimum(1.0, BOUNDARY_FRACTION * self._step_lengths(du, dl, dpush))
        length = np.where(going, length, 0.0)
        solver.x += length[0][:, None] * dx
        solver.u += length[:, None] * du
        solver.slack = slack + length[0][:, None] * dl
        solver.push = push + length[1][:, None] * dpush

    def _corrected_slacks(self, du: FloatArray, centre: FloatArray) -> FloatArray:
        """Return s plus the second-order term of the complementarity, (3, m, n)."""
        lam = self.scale.apply(self.solver.u[:, 1])
        p, q = self.scale.unapply(du[:, 0]), self.scale.apply(du[:, 1])
        d0 = (p * q).sum(axis=0) - centre
        d1 = p[0] * q[1] + q[0] * p[1]
        d2 = p[0] * q[2] + q[0] * p[2]
        out = np.empty_like(lam)
        out[0] = (lam[0] * d0 - lam[1] * d1 - lam[2] * d2) / cone_determinant(lam)
        out[1] = (d1 - out[0] * lam[1]) / lam[0]
        out[2] = (d2 - out[0] * lam[2]) / lam[0]
        return self.solver.u[:, 0] + self.scale.apply(out)
