"""A batch of plates: scaled, placed, proved, and converted back to mm.

The work behind `plate.fit_plates`. `interior_point` places, `rotation` proves; this
module scales the plates to sizes about one, drops limits that do not bind and converts
the results back.
"""

from dataclasses import dataclass, replace

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.plate_fit import rotation
from checks.engine.plate_fit.state import PlateProblem, rotate_points

PROOF_TOLERANCE_MM = 5e-7
MIN_SCALE_MM = 1e-3
MIN_SCALED_LIMIT = 1e-9  # of the scale: the method needs an inside
HELD_ROD_TOLERANCE_MM = 5e-7  # a held rod this far out passes for within

COUNTED, HELD, FREE = 1, 0, -1  # roles of a rod: see `plate.fit_plates`


class BatchResult:
    """Results of all plates, filled batch by batch."""

    def __init__(self, g: int, m: int) -> None:
        self.overrun, self.turn, self.gap = np.zeros(g), np.zeros(g), np.zeros(g)
        self.shift, self.distance = np.zeros((g, 2)), np.zeros((g, m))
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
        self.h = np.ascontiguousarray((holes - centre[:, None]).transpose(2, 1, 0))
        self.r = np.ascontiguousarray((rods - centre[:, None]).transpose(2, 1, 0))
        self.c = np.ascontiguousarray(clearance.T)
        self.weight: FloatArray | None = None
        self.begun = False
        w = weight.T
        middle, towards = (self.h * w).sum(axis=1), (self.r * w).sum(axis=1)
        arm, off = self.h - middle[:, None], self.r - towards[:, None]
        cross = ((arm[0] * off[1] - arm[1] * off[0]) * w).sum(axis=0)
        dot = ((arm * off).sum(axis=0) * w).sum(axis=0)
        self.turn = np.arctan2(cross, dot)  # least squares: where to begin
        self.shift = towards - rotate_points(middle[:, None], self.turn)[:, 0]

    def set_roles(self, role: IntArray) -> None:
        """Hold the rods whose `role` (g, m) is `HELD`."""
        self.weight = np.ascontiguousarray((role == COUNTED).T, dtype=np.float64)
        if self.weight.all():
            self.weight = None
        else:
            self.c = np.where(self.weight > 0.0, self.c, self.c + HELD_ROD_TOLERANCE_MM)

    def set_start(
        self, turn: FloatArray, shift: FloatArray, limit: FloatArray | None
    ) -> None:
        """Start from a rotation (g,) and shift (g, 2), clipped to its limit (g, 2)."""
        held = shift if limit is None else np.clip(shift, -limit, limit)
        self.turn, self.shift, self.begun = turn.copy(), held.T, True

    def scaled_problem(self) -> tuple[PlateProblem, FloatArray, FloatArray]:
        """Return the scaled problem, each plate's scale and its mean clearance (g,).

        Scale and mean clearance are in mm.
        """
        gap = rotate_points(self.h, self.turn) + self.shift[:, None] - self.r
        reach = np.hypot(gap[0], gap[1]).max(axis=0)
        # A clearance common to all rods only moves t, so it is taken off: t then
        # stays small and keeps its digits. Not with held rods, which t does not reach.
        mean = self.c.mean(axis=0) if self.weight is None else np.zeros(reach.size)
        spread = np.abs(self.c - mean).max(axis=0)
        scale = np.maximum(np.maximum(reach, spread), MIN_SCALE_MM)
        radius = np.hypot(self.h[0], self.h[1]).max(axis=0) / scale
        return (
            PlateProblem(
                holes=self.h / scale,
                rods=self.r / scale,
                clearance=(self.c - mean) / scale,
                radius=np.where(radius > 0.0, radius, 1.0),
                limit=None,
                goal=np.clip(1e-8 / scale, 3e-11, 3e-9),
                weight=self.weight,
                loose=0.5 * HELD_ROD_TOLERANCE_MM / scale,
            ),
            scale,
            mean,
        )

    def solve(
        self,
        found: BatchResult,
        part: slice,
        limit_mm: FloatArray | None,
        level_mm: FloatArray | None,
        *,
        brief: bool,
    ) -> None:
        """Place every plate of the batch and write the results into `found`."""
        problem, scale, shared = self.scaled_problem()
        task = _ProofTask(
            problem=problem,
            brief=brief,
            slack=PROOF_TOLERANCE_MM / scale,
            level=None if level_mm is None else (level_mm[part] + shared) / scale,
        )
        turn, shift = self.turn, self.shift / scale
        gap, proven = np.full(scale.size, np.inf), np.zeros(scale.size, np.bool_)
        most = None if limit_mm is None else limit_mm[part].T / scale
        if most is None or not self.begun:
            turn, shift, gap, proven = _solve_and_prove(task, turn, shift)
        if most is not None:
            # A limit that the free placement keeps changes nothing, and without limits
            # most plates are proved at once: only the others are solved again.
            at = np.flatnonzero((np.abs(shift) > most).any(axis=0) | self.begun)
            held = task.take(at, np.maximum(most[:, at], MIN_SCALED_LIMIT))
            begin = np.clip(shift[:, at], -most[:, at], most[:, at])
            if at.size:
                turn[at], moved, gap[at], proven[at] = _solve_and_prove(
                    held, turn[at], begin
                )
                shift[:, at] = np.clip(moved, -most[:, at], most[:, at])
        shift = shift * scale
        if limit_mm is not None:
            shift = np.clip(shift, -limit_mm[part].T, limit_mm[part].T)
        placed = rotate_points(self.h, turn) + shift[:, None] - self.r
        found.turn[part], found.shift[part] = turn, shift.T
        found.gap[part], found.proven[part] = gap * scale, proven
        found.distance[part] = np.hypot(placed[0], placed[1]).T
        over = found.distance[part] - self.c.T
        if self.weight is not None:
            out = np.where(over > HELD_ROD_TOLERANCE_MM, np.inf, -np.inf)
            over = np.where(self.weight.T > 0.0, over, out)
        found.overrun[part] = over.max(axis=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class _ProofTask:
    """Plates to place, and how much to prove, in the problem's own units."""

    problem: PlateProblem
    brief: bool
    slack: FloatArray  # (g,)
    level: FloatArray | None  # (g,)

    def take(self, at: IntArray, limit: FloatArray) -> "_ProofTask":
        return _ProofTask(
            problem=replace(self.problem.take(at), limit=limit),
            brief=self.brief,
            slack=self.slack[at],
            level=None if self.level is None else self.level[at],
        )


def _solve_and_prove(
    task: _ProofTask, turn: FloatArray, shift: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Return rotation, shift, gap and proof of each plate."""
    problem, slack = task.problem, task.slack
    best = rotation.solve_from(problem, turn, shift)
    enough = np.zeros(slack.size, np.bool_)
    if task.level is not None:
        enough = best.value <= task.level
        above = np.subtract(best.value, task.level, where=~enough, out=slack.copy())
        slack = np.maximum(slack, above)
    arcs, low = rotation.find_arc(problem, best.value), best.bound
    torque = np.abs(low.sine) * np.sin(np.minimum(arcs.half, np.pi / 2.0))
    gap = best.value - (low.cosine - low.rest - torque)
    proven = enough | arcs.one_valley & (gap <= slack)
    todo = np.flatnonzero(~proven & np.isfinite(best.value))
    if todo.size:
        part = best.take(todo)
        sure = rotation.search_arc(
            problem.take(todo), part, arcs.take(todo), slack[todo], brief=task.brief
        )
        best.put(todo, part)
        gap[todo] = np.where(sure, slack[todo], np.inf)
        proven[todo] = sure
    return best.rotation, best.shift, gap, proven
