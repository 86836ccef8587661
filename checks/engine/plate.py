"""Does the base plate go over the rods, and by how much not?

Over all rigid placements of the hole pattern (a turn and a shift, no scale),
minimise the largest of |rod - placed hole| - clearance, where clearance =
(hole - rod diameter) / 2. The minimum is the *overrun*: at most zero fits, and
its amount is then the slack of the tightest hole. The problem is a second-order
cone problem in the shift and, but for the turn, convex: `minimax` solves it,
`turns` proves that no other turn is better.

     o <- hole, placed        the rod's centre may be anywhere in a circle of
    (  x ) rod's centre       radius clearance + overrun about the hole's centre

Lengths in mm, angles in rad counter-clockwise; g groups (plates) of m holes.
"""

from dataclasses import dataclass, replace

import numpy as np

from checks.engine import turns
from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.errors import EngineError
from checks.engine.minimax import Problem, turned

CHUNK_RODS = 16_384  # rods solved together: what a processor's cache holds
PROOF_SLACK_MM = 5e-7
SCALE_FLOOR_MM = 1e-3
LIMIT_FLOOR = 1e-9  # of the scale: the method needs an inside


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateFit:
    """Best placement of each plate over its rods.

    Where several placements are equally good (a single rod, one tight hole), one
    of them is given.
    """

    overrun_mm: FloatArray  # (g,) at most zero: the plate goes on
    shift_mm: FloatArray  # (g, 2) of the holes' centroid, from where it was given
    turn_rad: FloatArray  # (g,) about the holes' centroid, in (-pi, pi]
    distance_mm: FloatArray  # (g, m) rod from placed hole; NaN where masked out
    gap_mm: FloatArray  # (g,) overrun less a lower bound proved by duality
    proven: BoolArray  # (g,) no placement at any turn is better by 5e-7 mm


def fit_plates(
    holes_mm: FloatArray,
    rods_mm: FloatArray,
    clearance_mm: FloatArray,
    mask: BoolArray | None = None,
    shift_limit_mm: FloatArray | None = None,
) -> PlateFit:
    """Place each plate so that its worst hole misses its rod by the least.

    Parameters
    ----------
    holes_mm : array, shape (g, m, 2)
        Hole centres of the plate at its planned place. [mm]
    rods_mm : array, shape (g, m, 2)
        Rod centres in the same axes and order. [mm]
    clearance_mm : array, shape (g, m)
        Half of hole less rod diameter. [mm]
    mask : array, shape (g, m), optional
        False where a group has no such rod; its numbers are not looked at.
    shift_limit_mm : array, shape (g, 2), optional
        Most the holes' centroid may move, each way along each axis. [mm]

    Returns
    -------
    PlateFit

    Raises
    ------
    EngineError
        If a number that counts is not finite, a group has no rods, or a limit is
        negative.
    """
    holes, rods, clearance, mask = _checked(holes_mm, rods_mm, clearance_mm, mask)
    limit = None if shift_limit_mm is None else np.asarray(shift_limit_mm, np.float64)
    g, m = clearance.shape
    if limit is not None and (limit.shape != (g, 2) or not (limit >= 0.0).all()):
        raise EngineError(
            "A plate's shift limit is two lengths, zero or more, one for each axis."
        )
    found = _Found(g, m)
    size = max(1, CHUNK_RODS // max(m, 1))
    for start in range(0, g, size):
        part = slice(start, start + size)
        one = _Chunk(holes[part], rods[part], clearance[part], mask[part])
        one.solve(found, part, None if limit is None else limit[part])
    turn = found.turn - 2.0 * np.pi * np.ceil(found.turn / (2.0 * np.pi) - 0.5)
    return PlateFit(
        overrun_mm=found.overrun,
        shift_mm=found.shift,
        turn_rad=turn,
        distance_mm=np.where(mask, found.distance, np.nan),
        gap_mm=found.gap,
        proven=found.proven,
    )


def hole_needed_mm(fit: PlateFit, hole_diameter_mm: FloatArray) -> FloatArray:
    """Hole diameter that, for all holes, would let each plate on.

    hole + 2 overrun, as every clearance grows by half of what the hole does. It
    is less than the hole where the plate fits with slack. The overrun must be that
    of holes all of this diameter; rods of several diameters are accounted for, as
    each hole's own clearance went into the fit.

    Parameters
    ----------
    fit : PlateFit
        Of plates whose clearances are (hole - rod diameter) / 2.
    hole_diameter_mm : array, shape (g,)
        The diameter all holes of each plate have. [mm]

    Returns
    -------
    array, shape (g,)
        The diameter needed, never less than zero. [mm]
    """
    hole = np.asarray(hole_diameter_mm, np.float64)
    out: FloatArray = np.maximum(hole + 2.0 * fit.overrun_mm, 0.0)
    return out


def _checked(
    holes_mm: FloatArray,
    rods_mm: FloatArray,
    clearance_mm: FloatArray,
    mask: BoolArray | None,
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Arrays of agreeing shape; a masked rod becomes a copy of its group's first."""
    holes = np.asarray(holes_mm, np.float64)
    rods = np.asarray(rods_mm, np.float64)
    clearance = np.asarray(clearance_mm, np.float64)
    if holes.ndim != 3 or holes.shape != rods.shape or holes.shape[2] != 2:
        raise ValueError("holes_mm and rods_mm are both of shape (g, m, 2)")
    if clearance.shape != holes.shape[:2]:
        raise ValueError("clearance_mm is of shape (g, m)")
    if mask is None:
        mask = np.ones(clearance.shape, dtype=np.bool_)
    elif mask.shape != clearance.shape:
        raise ValueError("mask is of shape (g, m)")
    if not mask.any(axis=1).all():
        raise EngineError("A plate without rods cannot be judged: measure its rods.")
    if not mask.all():
        first = mask.argmax(axis=1)
        use = np.where(mask, np.arange(mask.shape[1]), first[:, None])
        row = np.arange(mask.shape[0])[:, None]
        holes, rods, clearance = holes[row, use], rods[row, use], clearance[row, use]
    if not (
        np.isfinite(holes).all()
        and np.isfinite(rods).all()
        and np.isfinite(clearance).all()
    ):
        raise EngineError(
            "A rod, hole or diameter of a plate is missing: every rod that counts"
            " needs its place, its diameter and its hole."
        )
    return holes, rods, clearance, mask


class _Found:
    """The answers of all plates, filled chunk by chunk."""

    def __init__(self, g: int, m: int) -> None:
        self.overrun, self.turn, self.gap = np.zeros(g), np.zeros(g), np.zeros(g)
        self.shift, self.distance = np.zeros((g, 2)), np.zeros((g, m))
        self.proven = np.zeros(g, dtype=np.bool_)


class _Chunk:
    """Some plates, reduced to their centroids and scaled to sizes about one."""

    def __init__(
        self,
        holes: FloatArray,
        rods: FloatArray,
        clearance: FloatArray,
        mask: BoolArray,
    ) -> None:
        weight = mask / mask.sum(axis=1, keepdims=True)
        centre = (holes * weight[..., None]).sum(axis=1)
        # (2, m, g): each row is then one run of memory
        self.h = np.ascontiguousarray((holes - centre[:, None]).transpose(2, 1, 0))
        self.r = np.ascontiguousarray((rods - centre[:, None]).transpose(2, 1, 0))
        self.c = np.ascontiguousarray(clearance.T)
        w = weight.T
        self.shift = (self.r * w).sum(axis=1)
        off = self.r - self.shift[:, None]
        cross = ((self.h[0] * off[1] - self.h[1] * off[0]) * w).sum(axis=0)
        dot = ((self.h * off).sum(axis=0) * w).sum(axis=0)
        self.turn = np.arctan2(cross, dot)  # least squares: where to begin

    def problem(self) -> tuple[Problem, FloatArray]:
        """The scaled problem, and the scale of each plate (g,) in mm."""
        gap = turned(self.h, self.turn) + self.shift[:, None] - self.r
        reach = np.hypot(gap[0], gap[1]).max(axis=0)
        mean = self.c.mean(axis=0)
        spread = np.abs(self.c - mean).max(axis=0)
        scale = np.maximum(np.maximum(reach, spread), SCALE_FLOOR_MM)
        radius = np.hypot(self.h[0], self.h[1]).max(axis=0) / scale
        return (
            Problem(
                holes=self.h / scale,
                rods=self.r / scale,
                clearance=(self.c - mean) / scale,
                radius=np.where(radius > 0.0, radius, 1.0),
                limit=None,
                goal=np.clip(1e-8 / scale, 3e-11, 3e-9),
            ),
            scale,
        )

    def solve(self, found: _Found, part: slice, limit: FloatArray | None) -> None:
        """Place every plate of the chunk and write the answers into `found`."""
        problem, scale = self.problem()
        slack = PROOF_SLACK_MM / scale
        turn, shift, gap, proven = _place(problem, self.turn, self.shift / scale, slack)
        if limit is not None:
            most = limit.T / scale
            # Where the limits do not bind, they change nothing.
            at = np.flatnonzero((np.abs(shift) > most).any(axis=0))
            if at.size:
                held = replace(
                    problem.take(at), limit=np.maximum(most[:, at], LIMIT_FLOOR)
                )
                begin = np.clip(shift[:, at], -most[:, at], most[:, at])
                turn[at], moved, gap[at], proven[at] = _place(
                    held, self.turn[at], begin, slack[at]
                )
                shift[:, at] = np.clip(moved, -most[:, at], most[:, at])
        placed = turned(self.h, turn) + (shift * scale)[:, None] - self.r
        found.turn[part], found.shift[part] = turn, (shift * scale).T
        found.gap[part], found.proven[part] = gap * scale, proven
        found.distance[part] = np.hypot(placed[0], placed[1]).T
        found.overrun[part] = (found.distance[part] - self.c.T).max(axis=1)


def _place(
    problem: Problem, turn: FloatArray, shift: FloatArray, slack: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Turn, shift, gap and proof of each plate, in the problem's own units."""
    best = turns.descend(problem, turn, shift)
    arcs, low = turns.arc(problem, best.value), best.low
    torque = np.abs(low.sine) * np.sin(np.minimum(arcs.half, np.pi / 2.0))
    gap = best.value - (low.cosine - low.rest - torque)
    proven = arcs.one_valley & (gap <= slack)
    todo = np.flatnonzero(~proven)
    if todo.size:
        part = best.take(todo)
        sure = turns.search(problem.take(todo), part, arcs.take(todo), slack[todo])
        best.put(todo, part)
        gap[todo] = np.where(sure, slack[todo], np.inf)
        proven[todo] = sure
    return best.turn, best.shift, gap, proven
