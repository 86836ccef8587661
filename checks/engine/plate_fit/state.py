"""Plates to place, and the state of a solver working on them.

Arrays are rods first, plates last: (m, g) and (2, m, g). Rows of `x` are t, rotation
times a radius, shift x and shift y, all divided by a length that makes them about one:
unscaled, a rotation of 1e-3 rad and a shift of 3 mm would share one tolerance.
"""

from dataclasses import dataclass, replace

import numpy as np

from checks.engine.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateProblem:
    """Plates to place, in units of each plate's own scale.

    Holes are measured from their centroid; `free_rotation` False fixes the rotation.
    """

    holes: FloatArray  # (2, m, g)
    rods: FloatArray  # (2, m, g)
    clearance: FloatArray  # (m, g)
    radius: FloatArray  # (g,) rotation = x[1] / radius
    limit: FloatArray | None  # (2, g) bound of |shift|
    target_gap: FloatArray  # (g,) duality gap to reach
    free_rotation: bool = True
    rotation_limit: FloatArray | None = None  # (g,) bound of |rotation| [rad]
    weight: FloatArray | None = None  # (m, g) of t: 1, or 0 for a held rod
    held_tolerance: FloatArray | float = (
        0.0  # (g,) how far out a held rod counts as within
    )

    def take(self, keep: IntArray) -> "PlateProblem":
        return replace(
            self,
            holes=self.holes[..., keep],
            rods=self.rods[..., keep],
            clearance=self.clearance[..., keep],
            radius=self.radius[keep],
            limit=None if self.limit is None else self.limit[..., keep],
            target_gap=self.target_gap[keep],
            rotation_limit=None
            if self.rotation_limit is None
            else self.rotation_limit[keep],
            weight=None if self.weight is None else self.weight[:, keep],
            held_tolerance=self.held_tolerance[keep]
            if isinstance(self.held_tolerance, np.ndarray)
            else 0.0,
        )

    def apply_weight(self, u: FloatArray) -> FloatArray:
        """Multiply u (m, g) by each rod's weight of t."""
        return u if self.weight is None else u * self.weight


@dataclass(slots=True)
class SolverState:
    """State of a solver: placement, cone slacks and their multipliers."""

    x: FloatArray  # (4, g)
    u: FloatArray  # (3, 2, m, g) slacks and multipliers, in the cone
    limit_slack: FloatArray | None = None  # (4, g) slack of the shift's limits
    limit_multiplier: FloatArray | None = None  # (4, g)

    @property
    def s(self) -> FloatArray:
        """Slacks (3, m, g), a view."""
        return self.u[:, 0]

    @property
    def z(self) -> FloatArray:
        """Multipliers (3, m, g), a view."""
        return self.u[:, 1]

    def take(self, keep: IntArray) -> "SolverState":
        return SolverState(
            self.x[:, keep],
            self.u[..., keep],
            None if self.limit_slack is None else self.limit_slack[:, keep],
            None if self.limit_multiplier is None else self.limit_multiplier[:, keep],
        )

    def put(self, at: IntArray, part: "SolverState") -> None:
        self.x[:, at] = part.x
        self.u[..., at] = part.u
        if self.limit_slack is not None and self.limit_multiplier is not None:
            self.limit_slack[:, at] = part.limit_slack
            self.limit_multiplier[:, at] = part.limit_multiplier


def empty_state(problem: PlateProblem) -> SolverState:
    """Return a state with room for every plate, its numbers not set."""
    m, g = problem.clearance.shape
    limited = problem.limit is not None
    return SolverState(
        np.empty((4, g)),
        np.empty((3, 2, m, g)),
        np.empty((4, g)) if limited else None,
        np.empty((4, g)) if limited else None,
    )


def rotate_points(points: FloatArray, rotation_rad: FloatArray) -> FloatArray:
    """Rotate points (2, m, g) counter-clockwise by an angle (g,). [rad]"""
    c, s = np.cos(rotation_rad), np.sin(rotation_rad)
    out = np.empty((2, points.shape[1], np.size(rotation_rad)))
    out[0] = c * points[0] - s * points[1]
    out[1] = s * points[0] + c * points[1]
    return out
