"""Newton's method on the active set: the last steps of a placement.

Near the optimum the interior point method shows which rods are active, that is,
decide the placement: those whose multiplier has grown past their slack. Held at
equality,

    |R(rotation) hole_i + shift - rod_i| = weight_i t + clearance_i,
    sum weight_i lambda_i = 1,    sum lambda_i d|.|_i / d(rotation, shift) = 0,

they give as many equations as unknowns, and Newton's method doubles the correct digits
with each step [1]_. Between steps a rod whose multiplier turned negative is released,
and a rod that is out is added [2]_. A limit on the shift that is reached becomes an
equality too. A placement is accepted only where all multipliers are positive and no
other rod is further out: then it is the bottom of its valley, and its multipliers
prove it.

At most `MAX_ACTIVE_RODS` rods are active, except in symmetric patterns. There, and
wherever else this fails, the interior point method continues from the state it had.

Arrays here are plates first, rods last: (g, k) and (g, 2, k), because
`numpy.linalg.solve` wants its stack of systems first.

References
----------
.. [1] J. Nocedal and S. Wright, Numerical Optimization, 2nd ed. 2006, section 18.1.
.. [2] M. Hintermueller, K. Ito and K. Kunisch, "The primal-dual active set strategy
   as a semismooth Newton method", SIAM J. Optim. 13(3), 2002.
"""

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.plate_fit.state import PlateProblem, SolverState, rotate_points

MAX_ACTIVE_RODS = 4  # as many as unknowns: t, rotation and two of the shift
MAX_NEWTON_STEPS = 8
CONVERGED = 1e-10  # residual of every condition, in the plate's own units
NEGLIGIBLE = 1e-11  # residual of the equations that no further step improves
# Steps work on the whole batch. When no more than one plate in so many still moves, the
# batch stops and those plates wait for the next attempt, after interior point steps.
RETRY_ONE_IN = 100
REGULARISATION = 1e-13  # keeps the system regular where two rods are equivalent


def polish_active_set(problem: PlateProblem, state: SolverState) -> BoolArray:
    """Move placements (g,) to the bottom of their valley.

    Returns which plates (g,) reached it. `state` changes for those plates only.
    """
    active_set = _ActiveSet(problem, state)
    with np.errstate(all="ignore"):
        for step in range(MAX_NEWTON_STEPS):
            if not active_set.newton_step(change=step > 0):
                break
        converged = active_set.converged_plates()
    at = np.flatnonzero(converged)
    if at.size:
        active_set.write_state(state, at)
    return converged


class _ActiveSet:
    """The rods that seem active, and the equations they make."""

    def __init__(self, problem: PlateProblem, state: SolverState) -> None:
        self.problem = problem
        m, g = problem.clearance.shape
        z = state.z[0]
        if m <= MAX_ACTIVE_RODS:
            self.row: IntArray = np.repeat(np.arange(m)[:, None], g, axis=1)
        else:
            self.row = np.argpartition(z, m - MAX_ACTIVE_RODS, axis=0)[
                m - MAX_ACTIVE_RODS :
            ]
        pick = self.row, np.arange(g)
        self.k = self.row.shape[0]
        self.holes = np.ascontiguousarray(problem.holes[:, *pick].transpose(2, 0, 1))
        self.rods = np.ascontiguousarray(problem.rods[:, *pick].transpose(2, 0, 1))
        self.clearance = np.ascontiguousarray(problem.clearance[pick].T)
        self.weight = (
            np.ones((g, self.k)) if problem.weight is None else problem.weight[pick].T
        )
        # A padded rod copies the first one: with both active the system is singular.
        copied = (self.holes == self.holes[..., :1]).all(axis=1)
        copied &= (self.rods == self.rods[..., :1]).all(axis=1)
        copied[:, 0] = False
        self.distinct = ~copied
        slack = (state.s[0] - np.hypot(state.s[1], state.s[2]))[pick].T
        self.force = z[pick].T.copy()
        self.active = self.distinct & (self.force > slack)
        self.force = np.where(self.active, self.force, 0.0)
        self.x = state.x.T.copy()
        self.at_limit: BoolArray | None = None  # (g, 2) shift at its limit
        if problem.limit is not None:
            assert state.limit_slack is not None  # noqa: S101  (set with the limit)
            assert state.limit_multiplier is not None  # noqa: S101
            reached = state.limit_multiplier > state.limit_slack  # +x, +y, -x, -y
            self.at_limit = (reached[:2] | reached[2:]).T
            bound = np.where(reached[:2], problem.limit, -problem.limit).T
            self.x[:, 2:] = np.where(self.at_limit, bound, self.x[:, 2:])

    def _evaluate(self) -> None:
        """Compute direction, lever arm, excess and derivatives of every active rod."""
        angle = self.x[:, 1] / self.problem.radius
        c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
        hx, hy = self.holes[:, 0], self.holes[:, 1]
        arm = np.stack((c * hx - s * hy, s * hx + c * hy), axis=1)
        gap = arm + self.x[:, 2:, None] - self.rods
        arm /= self.problem.radius[:, None, None]
        self.distance = np.hypot(gap[:, 0], gap[:, 1])
        n = gap / self.distance[:, None]
        slope = np.empty((len(arm), 4, self.k))  # of each rod's excess, by unknown
        np.negative(self.weight, out=slope[:, 0])
        slope[:, 1] = n[:, 1] * arm[:, 0] - n[:, 0] * arm[:, 1]
        slope[:, 2:] = n
        self.slope, self.arm = slope, arm
        self.excess = self.distance - self.weight * self.x[:, :1] - self.clearance

    def _force_imbalance(self) -> FloatArray:
        """Return the residual of the balance of forces, (g, 4)."""
        imbalance: FloatArray = (self.slope @ self.force[:, :, None])[:, :, 0]
        imbalance[:, 0] += 1.0
        return imbalance

    def _largest_residual(self, imbalance: FloatArray) -> FloatArray:
        """Return the largest residual of any equation of each plate, (g,)."""
        free = np.abs(imbalance)
        if not self.problem.free_rotation:
            free[:, 1] = 0.0
        if self.at_limit is not None:
            free[:, 2:] = np.where(self.at_limit, 0.0, free[:, 2:])
        excess = np.abs(self.excess * self.active).max(axis=1)
        out: FloatArray = np.maximum(free.max(axis=1), excess)
        return out

    def newton_step(self, *, change: bool) -> bool:
        """Take one Newton step; return False when converged or not solvable.

        With `change`, the active set is updated first.
        """
        self._evaluate()
        if change:
            self.active = self.distinct & (self.force + self.excess > 0.0)
            self.force = np.where(self.active, self.force, 0.0)
        imbalance = self._force_imbalance()
        if (
            np.count_nonzero(self._largest_residual(imbalance) > NEGLIGIBLE)
            <= len(imbalance) // RETRY_ONE_IN
        ):
            return False
        right = np.concatenate((imbalance, self.excess * self.active), axis=1)
        np.negative(right, out=right)
        system = self._jacobian()
        self._fix_unknowns(system, right)
        try:
            step = np.linalg.solve(system, right[..., None])[..., 0]
        except np.linalg.LinAlgError:
            # One singular plate fails the stack; the interior point method goes on.
            return False
        self.x = self.x + step[:, :4]
        self.force = self.force + step[:, 4:]
        return True

    def _jacobian(self) -> FloatArray:
        """Assemble the Jacobian in t, rotation, shift and forces, (g, 4 + k, 4 + k).

        The upper left block is the curvature of the distances: across the direction
        of each, and of the rotation itself.
        """
        k, arm, n = self.k, self.arm, self.slope[:, 2:]
        g = len(arm)
        across = np.empty((g, 3, k))
        np.add(n[:, 0] * arm[:, 0], n[:, 1] * arm[:, 1], out=across[:, 0])
        np.negative(n[:, 1], out=across[:, 1])
        across[:, 2] = n[:, 0]
        curvature = across * (self.force / self.distance)[:, None]
        system = np.zeros((g, 4 + k, 4 + k))
        np.matmul(curvature, across.transpose(0, 2, 1), out=system[:, 1:4, 1:4])
        system[:, 1, 1] -= (self.force * across[:, 0]).sum(axis=1) / self.problem.radius
        system[:, :4, 4:] = self.slope
        active = self.active[:, :, None]
        np.multiply(self.slope.transpose(0, 2, 1), active, out=system[:, 4:, :4])
        diagonal = 4 + np.arange(k)
        # An inactive rod keeps its force of zero by an equation of its own.
        system[:, diagonal, diagonal] = np.where(self.active, -REGULARISATION, 1.0)
        return system

    def _fix_unknowns(self, system: FloatArray, right: FloatArray) -> None:
        """Fix the rotation where it is not free, and the shift where it is limited."""
        fixed: list[tuple[int, BoolArray]] = []
        if not self.problem.free_rotation:
            fixed.append((1, np.ones(len(right), np.bool_)))
        if self.at_limit is not None:
            fixed += [(2, self.at_limit[:, 0]), (3, self.at_limit[:, 1])]
        for row, plates in fixed:
            system[plates, row] = 0.0
            # The column as well: in a nearly singular system the rounding of a pivot
            # would move the unknown by far more than rounding.
            system[plates, :, row] = 0.0
            system[plates, row, row] = 1.0
            right[plates, row] = 0.0

    def converged_plates(self) -> BoolArray:
        """Return the plates (g,) that meet every optimality condition."""
        self._evaluate()
        problem, shift = self.problem, self.x[:, 2:]
        placed = rotate_points(problem.holes, self.x[:, 1] / problem.radius)
        self.gap = placed + shift.T[:, None] - problem.rods
        over = np.hypot(self.gap[0], self.gap[1]) - problem.clearance
        t = self.x[:, 0]
        allowed = t if problem.weight is None else t * problem.weight
        imbalance = self._force_imbalance()
        converged: BoolArray = (over - allowed).max(axis=0) <= CONVERGED
        if self.at_limit is not None and problem.limit is not None:
            inside = np.abs(shift) <= problem.limit.T + CONVERGED
            # At a limit the balance of forces must point outward: otherwise the plate
            # would rather move inside, and the limit is not active at all.
            pushes_out = imbalance[:, 2:] * np.sign(shift) <= 0.0
            converged &= np.where(self.at_limit, pushes_out, inside).all(axis=1)
        converged &= self._largest_residual(imbalance) <= CONVERGED
        converged &= (self.force * self.active).min(axis=1) >= 0.0
        converged &= np.isfinite(self.x).all(axis=1)
        return converged

    def write_state(self, state: SolverState, at: IntArray) -> None:
        """Write the placements of plates `at` and their multipliers into `state`."""
        problem = self.problem
        t = self.x[:, 0] if problem.weight is None else self.x[:, 0] * problem.weight
        force = np.where(self.active, self.force, 0.0)[at].T
        state.x[:, at] = self.x[at].T
        state.s[0][:, at] = (t + problem.clearance)[:, at]
        state.s[1:][..., at] = self.gap[..., at]
        state.z[..., at] = 0.0
        rows = self.row[:, at]
        state.z[0][rows, at] = force
        state.z[1:][:, rows, at] = -force * self.slope[at, 2:].transpose(1, 2, 0)
