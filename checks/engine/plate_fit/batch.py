"""A batch of plates: scaled, placed, proved, and converted back to mm.

The work behind `plate.fit_plates`. `interior_point` places, `rotation` proves; this
module scales the plates to sizes about one, drops limits that do not bind and converts
the results back.
"""

from dataclasses import dataclass, replace

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.plate_fit.rotation import find_arc, search_arc, solve_from
from checks.engine.plate_fit.state import PlateProblem, rotate_points

PROOF_TOLERANCE_MM = 5e-7  # half of what a limit forgives, `conformity.SLACK_MM`
MIN_SCALE_MM = 1e-3  # rods exactly in place would otherwise scale by zero
MIN_SCALED_LIMIT = 1e-9  # an interior point method needs an interior
HELD_ROD_TOLERANCE_MM = 5e-7  # a held rod this far out counts as within

COUNTED, HELD, FREE = 1, 0, -1  # roles of a rod: see `plate.fit_plates`


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacementBounds:
    """Largest shift and rotation of plates, either way; None where they are free."""

    shift_mm: FloatArray | None = None  # (g, 2)
    rotation_rad: FloatArray | None = None  # (g,)

    @property
    def is_free(self) -> bool:
        """True where nothing is bounded."""
        return self.shift_mm is None and self.rotation_rad is None

    def take(self, keep: IntArray | slice) -> "PlacementBounds":
        return PlacementBounds(
            shift_mm=None if self.shift_mm is None else self.shift_mm[keep],
            rotation_rad=None if self.rotation_rad is None else self.rotation_rad[keep],
        )

    def scaled_by(self, scale: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the limits of shift (2, g), in plate scales, and rotation (g,)."""
        limit, turn = np.full((2, scale.size), np.inf), np.full(scale.size, np.inf)
        if self.shift_mm is not None:
            limit = self.shift_mm.T / scale
        if self.rotation_rad is not None:
            turn = self.rotation_rad
        return limit, turn


class BatchResult:
    """Results of all plates, filled batch by batch."""

    def __init__(self, g: int, m: int) -> None:
        self.interference = np.zeros(g)
        self.rotation = np.zeros(g)
        self.gap = np.zeros(g)
        self.shift = np.zeros((g, 2))
        self.distance = np.zeros((g, m))
        self.proven = np.zeros(g, dtype=np.bool_)


class PlateBatch:
    """Plates solved together, reduced to their centroids."""

    def __init__(
        self,
        holes: FloatArray,
        rods: FloatArray,
        clearance: FloatArray,
        mask: BoolArray,
        centre: FloatArray,
    ) -> None:
        weight = mask / mask.sum(axis=1, keepdims=True)
        # (2, m, g): one operation on a rod of all plates is then one run of memory.
        self.holes = np.ascontiguousarray((holes - centre[:, None]).transpose(2, 1, 0))
        self.rods = np.ascontiguousarray((rods - centre[:, None]).transpose(2, 1, 0))
        self.clearance = np.ascontiguousarray(clearance.T)
        self.weight: FloatArray | None = None
        self.started = False
        share = weight.T
        hole_centre = (self.holes * share).sum(axis=1)
        rod_centre = (self.rods * share).sum(axis=1)
        arm, off = self.holes - hole_centre[:, None], self.rods - rod_centre[:, None]
        cross = ((arm[0] * off[1] - arm[1] * off[0]) * share).sum(axis=0)
        dot = ((arm * off).sum(axis=0) * share).sum(axis=0)
        self.rotation = np.arctan2(cross, dot)  # least squares: the start
        rotated = rotate_points(hole_centre[:, None], self.rotation)
        self.shift = rod_centre - rotated[:, 0]

    def set_roles(self, role: IntArray) -> None:
        """Hold the rods whose `role` (g, m) is `HELD`."""
        self.weight = np.ascontiguousarray((role == COUNTED).T, dtype=np.float64)
        if self.weight.all():
            self.weight = None
        else:
            self.clearance = np.where(
                self.weight > 0.0,
                self.clearance,
                self.clearance + HELD_ROD_TOLERANCE_MM,
            )

    def set_start(
        self, rotation: FloatArray, shift: FloatArray, bounds: PlacementBounds
    ) -> None:
        """Start from a rotation (g,) and shift (g, 2), clipped to their bounds."""
        turned, moved = rotation.copy(), shift
        if bounds.rotation_rad is not None:
            turned = np.clip(turned, -bounds.rotation_rad, bounds.rotation_rad)
        if bounds.shift_mm is not None:
            moved = np.clip(moved, -bounds.shift_mm, bounds.shift_mm)
        self.rotation, self.shift, self.started = turned, moved.T, True

    def scaled_problem(self) -> tuple[PlateProblem, FloatArray, FloatArray]:
        """Return the scaled problem, each plate's scale and its mean clearance (g,).

        Scale and mean clearance are in mm.
        """
        gap = rotate_points(self.holes, self.rotation) + self.shift[:, None] - self.rods
        reach = np.hypot(gap[0], gap[1]).max(axis=0)
        # A clearance common to all rods only moves t, so it is taken off: t then
        # stays small and keeps its digits. Not with held rods, which t does not reach.
        mean = (
            self.clearance.mean(axis=0) if self.weight is None else np.zeros(reach.size)
        )
        spread = np.abs(self.clearance - mean).max(axis=0)
        scale = np.maximum(np.maximum(reach, spread), MIN_SCALE_MM)
        radius = np.hypot(self.holes[0], self.holes[1]).max(axis=0) / scale
        return (
            PlateProblem(
                holes=self.holes / scale,
                rods=self.rods / scale,
                clearance=(self.clearance - mean) / scale,
                radius=np.where(radius > 0.0, radius, 1.0),
                limit=None,
                target_gap=np.clip(1e-8 / scale, 3e-11, 3e-9),
                weight=self.weight,
                held_tolerance=0.5 * HELD_ROD_TOLERANCE_MM / scale,
            ),
            scale,
            mean,
        )

    def solve(
        self,
        results: BatchResult,
        part: slice,
        bounds: PlacementBounds,
        threshold_mm: FloatArray | None,
        *,
        brief: bool,
    ) -> None:
        """Place every plate of the batch and write the results into `results`."""
        problem, scale, shared = self.scaled_problem()
        task = _ProofTask(
            problem=problem,
            brief=brief,
            slack=PROOF_TOLERANCE_MM / scale,
            threshold=(
                None if threshold_mm is None else (threshold_mm[part] + shared) / scale
            ),
        )
        rotation, shift = self.rotation, self.shift / scale
        gap, proven = np.full(scale.size, np.inf), np.zeros(scale.size, np.bool_)
        if bounds.is_free or not self.started:
            rotation, shift, gap, proven = _solve_and_prove(task, rotation, shift)
        if not bounds.is_free:
            # A limit that the free placement keeps changes nothing, and without limits
            # most plates are proved at once: only the others are solved again.
            limit, turn = bounds.scaled_by(scale)
            beyond = (np.abs(shift) > limit).any(axis=0) | (np.abs(rotation) > turn)
            at = np.flatnonzero(beyond | self.started)
            if at.size:
                near, turn = limit[:, at], turn[at]
                rotation[at], moved, gap[at], proven[at] = _solve_and_prove(
                    task.take(at, np.maximum(near, MIN_SCALED_LIMIT), turn),
                    np.clip(rotation[at], -turn, turn),
                    np.clip(shift[:, at], -near, near),
                )
                shift[:, at] = np.clip(moved, -near, near)
        shift = shift * scale
        if bounds.shift_mm is not None:
            shift = np.clip(shift, -bounds.shift_mm.T, bounds.shift_mm.T)
        placed = rotate_points(self.holes, rotation) + shift[:, None] - self.rods
        results.rotation[part], results.shift[part] = rotation, shift.T
        results.gap[part], results.proven[part] = gap * scale, proven
        results.distance[part] = np.hypot(placed[0], placed[1]).T
        over = results.distance[part] - self.clearance.T
        if self.weight is not None:
            out = np.where(over > HELD_ROD_TOLERANCE_MM, np.inf, -np.inf)
            over = np.where(self.weight.T > 0.0, over, out)
        results.interference[part] = over.max(axis=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class _ProofTask:
    """Plates to place, and how much to prove, in the problem's own units."""

    problem: PlateProblem
    brief: bool
    slack: FloatArray  # (g,) improvement that need not be excluded
    threshold: FloatArray | None  # (g,)

    def take(
        self, at: IntArray, limit: FloatArray, rotation_limit: FloatArray
    ) -> "_ProofTask":
        # A limit of a whole turn is none, and would only cost a proof.
        free = bool((rotation_limit >= np.pi).all())
        return _ProofTask(
            problem=replace(
                self.problem.take(at),
                limit=limit if np.isfinite(limit).all() else None,
                rotation_limit=None if free else rotation_limit,
            ),
            brief=self.brief,
            slack=self.slack[at],
            threshold=None if self.threshold is None else self.threshold[at],
        )


def _solve_and_prove(
    task: _ProofTask, rotation: FloatArray, shift: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Return rotation, shift, gap and proof of each plate."""
    problem, slack = task.problem, task.slack
    best = solve_from(problem, rotation, shift)
    enough = np.zeros(slack.size, np.bool_)
    if task.threshold is not None:
        # Only the threshold matters: at or below it nothing is left to prove, and above
        # it the bound need not come closer than the threshold.
        enough = best.value <= task.threshold
        above = np.subtract(best.value, task.threshold, where=~enough, out=slack.copy())
        slack = np.maximum(slack, above)
    arcs, bound = find_arc(problem, best.value), best.bound
    torque = np.abs(bound.sine) * np.sin(np.minimum(arcs.half, np.pi / 2.0))
    gap = best.value - (bound.cosine - bound.rest - torque)
    proven = enough | arcs.one_valley & (gap <= slack)
    todo = np.flatnonzero(~proven & np.isfinite(best.value))
    if todo.size:
        part = best.take(todo)
        proved = search_arc(
            problem.take(todo), part, arcs.take(todo), slack[todo], brief=task.brief
        )
        best.put(todo, part)
        gap[todo] = np.where(proved, slack[todo], np.inf)
        proven[todo] = proved
    return best.rotation, best.shift, gap, proven
