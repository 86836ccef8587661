"""Rod patterns stacked to one shape, and their solution by Gauss-Newton.

Patterns (patterns, slots, 2) of fewer rods are padded. Lengths in mm, reduced to a rod
of each pattern. `pattern` has the formulas and the source.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.pattern_alternatives import mirror_rods

MIN_PART_SEEN = 1e-2
"""Least part of a coordinate that the readings must see to determine it. [1]"""

CONVERGED_MM = 1e-9
"""Gauss-Newton stops when no coordinate of any pattern moves by more. [mm]"""

MAX_STEPS = 50

MAX_MISFIT_RISE = 3.29**2
"""Two solutions fit alike while their weighted squares differ by less. [1]

The critical value of one standardised residual, 0.1 %.
"""

MIN_APART_MM = 0.5
"""Places of one rod nearer to each other count as one place. [mm] Project choice."""

MAX_MIRROR_ROUNDS = 4
"""How often a nearer solution is mirrored again. Project choice."""


@dataclass(frozen=True, slots=True)
class StackedGages:
    """Gages on stacked patterns: pattern p, slots i and j in it."""

    pattern: IntArray  # (g,)
    slot: IntArray  # (g, 2)
    value: FloatArray  # (g,)
    weight: FloatArray  # (g,) 1 / sigma**2, 0 where not used


@dataclass(slots=True)
class StackSolution:
    """Solutions of patterns, replaced row by row where a better one is found."""

    rods: FloatArray  # (patterns, slots, 2)
    inverse: FloatArray  # (patterns, 2 slots, 2 slots)
    good: BoolArray  # (patterns,)
    misfit: FloatArray  # (patterns,) weighted sum of squares; inf where not good

    def replace(self, rows: IntArray, by: "StackSolution", at: IntArray) -> None:
        """Replace rows by other solutions, those at `at`."""
        for name in ("rods", "inverse", "good", "misfit"):
            getattr(self, name)[rows] = getattr(by, name)[at]


@dataclass(frozen=True, slots=True)
class PatternStack:
    """Stacked patterns with everything that was read of them."""

    plan: FloatArray  # (patterns, slots, 2)
    value: FloatArray  # (patterns, slots, 2)
    weight: FloatArray  # (patterns, slots, 2)
    fixed: BoolArray  # (patterns, slots, 2)
    gages: StackedGages

    def solve(self, start: FloatArray) -> StackSolution:
        """Solve every pattern from a start (patterns, slots, 2)."""
        rods, inverse, good = _gauss_newton(
            self.plan, start, self.value, self.weight, self.fixed, self.gages
        )
        _, length = _gage_directions(rods, self.gages)
        misfit = (self.weight * (rods - self.value) ** 2).sum(axis=(1, 2))
        misfit += np.bincount(
            self.gages.pattern,
            np.where(
                self.gages.weight > 0.0,
                self.gages.weight * (length - self.gages.value) ** 2,
                0.0,
            ),
            minlength=len(rods),
        )
        return StackSolution(rods, inverse, good, np.where(good, misfit, np.inf))

    def take(self, rows: IntArray) -> "PatternStack":
        """Return the patterns at these rows, repeated as often as they are named."""
        order = np.argsort(self.gages.pattern, kind="stable")
        count = np.bincount(self.gages.pattern, minlength=len(self.plan))
        first = np.cumsum(count) - count
        times = count[rows]
        # The gages of each row, one row after another.
        within = np.arange(times.sum()) - np.repeat(np.cumsum(times) - times, times)
        gage = order[np.repeat(first[rows], times) + within]
        return PatternStack(
            self.plan[rows],
            self.value[rows],
            self.weight[rows],
            self.fixed[rows],
            StackedGages(
                np.repeat(np.arange(rows.size), times),
                self.gages.slot[gage],
                self.gages.value[gage],
                self.gages.weight[gage],
            ),
        )

    def retry_from_plan(self, found: StackSolution, is_read: BoolArray) -> None:
        """Start patterns without a solution again, from the plan as it is."""
        rows = np.flatnonzero(~found.good)
        if rows.size:
            start = np.where(is_read, self.value, self.plan)[rows]
            found.replace(rows, self.take(rows).solve(start), np.arange(rows.size))

    def choose_nearest(self, found: StackSolution, is_read: BoolArray) -> FloatArray:
        """Choose the solutions nearest to the plan, of those that fit alike.

        Returns
        -------
        array, shape (patterns, slots, 2)
            The other place of each rod that has one, else NaN. [mm]
        """
        used = self.gages.weight > 0.0
        unread = self.fixed & ~is_read
        for last in (False,) * MAX_MIRROR_ROUNDS + (True,):
            row, rod, start = mirror_rods(
                found.rods, unread, self.gages.pattern[used], self.gages.slot[used]
            )
            mirrored = self.take(row).solve(start)
            least = found.misfit.copy()
            np.minimum.at(least, row, mirrored.misfit)
            fits = mirrored.good & (mirrored.misfit <= least[row] + MAX_MISFIT_RISE)
            distance = np.where(fits, self._distance(mirrored.rods, row), np.inf)
            order = np.lexsort((distance, row))
            best = order[np.append(True, np.diff(row[order]) > 0)[: row.size]]
            stays = found.misfit <= least + MAX_MISFIT_RISE
            own = np.where(stays, self._distance(found.rods), np.inf)
            best = best[distance[best] < own[row[best]] - CONVERGED_MM]
            if last or not best.size:
                break
            found.replace(row[best], mirrored, best)
        moved = mirrored.rods[np.arange(row.size), rod] - found.rods[row, rod]
        two = np.flatnonzero(fits & (np.hypot(*moved.T) > MIN_APART_MM))
        other = np.full(self.plan.shape, np.nan)
        other[row[two], rod[two]] = mirrored.rods[two, rod[two]]
        return other

    def _distance(
        self, rods: FloatArray, rows: IntArray | slice = slice(None)
    ) -> FloatArray:
        """Return each solution's distance from the plan, over what is determined."""
        off = np.where(self.fixed[rows], rods - self.plan[rows], 0.0)
        distance: FloatArray = np.sqrt((off**2).sum(axis=(1, 2)))
        return distance


def find_determined(
    plan: FloatArray, is_read: BoolArray, real: BoolArray, gages: StackedGages
) -> tuple[BoolArray, BoolArray]:
    """Find the determined coordinates and the usable gages.

    The null space of the normal matrix at the plan, all weights 1, is undetermined.
    Gages at a rod that is not fully determined are dropped, which may undetermine
    others, so this repeats until none is dropped.
    """
    used = gages.weight > 0.0
    if (is_read | ~real).all():
        return np.broadcast_to(real, is_read.shape), used
    unit, _ = _gage_directions(plan, gages)
    own = (is_read | ~real).astype(np.float64)
    while True:
        normal = _normal_matrices(own, unit, gages, used.astype(np.float64))
        size, basis = np.linalg.eigh(normal)
        free = np.where(size[:, None, :] < MIN_PART_SEEN**2, basis**2, 0.0).sum(axis=2)
        fixed = (free < MIN_PART_SEEN**2).reshape(plan.shape)
        whole = fixed[..., 0] & fixed[..., 1]
        sound = whole[gages.pattern[:, None], gages.slot]
        still = used & sound[:, 0] & sound[:, 1]
        if np.array_equal(still, used):
            return fixed, used
        used = still


def _gage_directions(
    points: FloatArray, gages: StackedGages
) -> tuple[FloatArray, FloatArray]:
    """Return unit vectors (g, 2) along the gages, and their lengths (g,)."""
    ends = points[gages.pattern[:, None], gages.slot]
    step = ends[:, 1] - ends[:, 0]
    length = np.hypot(step[:, 0], step[:, 1])
    return step / np.where(length > 0.0, length, 1.0)[:, None], length


def _normal_matrices(
    own: FloatArray, unit: FloatArray, gages: StackedGages, weight: FloatArray
) -> FloatArray:
    """Assemble normal matrices (patterns, 2 slots, 2 slots) of `own` and gages."""
    patterns, slots = own.shape[:2]
    width = 2 * slots
    row = np.concatenate([-unit, unit], axis=1)  # (g, 4): along, in of both rods
    column = (2 * gages.slot[:, :, None] + np.arange(2)).reshape(-1, 4)
    block = weight[:, None, None] * row[:, :, None] * row[:, None, :]
    cells = (gages.pattern[:, None, None] * width + column[:, :, None]) * width
    cells = cells + column[:, None, :]
    total = _sum_at(cells, block, patterns * width * width)
    normal = total.reshape(patterns, width, width)
    each = np.arange(width)
    normal[:, each, each] += own.reshape(patterns, width)
    return normal


def _sum_at(cells: IntArray, values: FloatArray, size: int) -> FloatArray:
    sums = np.bincount(cells.ravel(), weights=values.ravel(), minlength=size)
    return sums.astype(np.float64)


def _gauss_newton(
    plan: FloatArray,
    start: FloatArray,
    value: FloatArray,
    weight: FloatArray,
    fixed: BoolArray,
    gages: StackedGages,
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return rods, inverse normal matrices, and the patterns that converged."""
    patterns, slots = plan.shape[:2]
    rods = start.copy()
    planned, length = _gage_directions(plan, gages)
    reach = np.full(patterns, np.inf)
    np.minimum.at(reach, gages.pattern, np.where(length > 0.0, 0.5 * length, np.inf))
    # Undetermined coordinates are held; 1e-12 keeps a collapsing pattern regular.
    own = np.where(weight > 0.0, weight, np.where(fixed, 1e-12, 1.0))
    column = 2 * gages.slot[:, :, None] + np.arange(2)
    cells = gages.pattern[:, None, None] * (2 * slots) + column
    longest = np.full(patterns, np.inf)
    for _ in range(MAX_STEPS):
        unit, length = _gage_directions(rods, gages)
        normal = _normal_matrices(own, unit, gages, gages.weight)
        short = np.where(gages.weight > 0.0, gages.weight * (gages.value - length), 0.0)
        pull = np.stack([-unit, unit], axis=1) * short[:, None, None]
        right = (weight * (value - rods)).reshape(patterns, -1, 1)
        right = right + _sum_at(cells, pull, rods.size).reshape(patterns, -1, 1)
        step = np.linalg.solve(normal, right).reshape(rods.shape)
        longest = np.abs(step).max(axis=(1, 2))
        # At most half the shortest gage: a longer step could carry a rod past another.
        rods += (
            step * np.minimum(1.0, reach / np.maximum(longest, 1e-300))[:, None, None]
        )
        if np.all(longest <= CONVERGED_MM):
            break
    unit, _ = _gage_directions(rods, gages)
    swapped = (gages.weight > 0.0) & (np.sum(unit * planned, axis=1) <= 0.0)
    good = longest <= CONVERGED_MM
    good[gages.pattern[swapped]] = False
    normal = _normal_matrices(own, unit, gages, gages.weight)
    return rods, np.linalg.inv(normal).astype(np.float64), good
