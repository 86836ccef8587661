"""The shortest slots, when only the holes that offend are opened.

A hole opened into a slot towards its rod takes the rod when the slot is longer than
the hole by |rod - placed hole| - clearance, the *extension*. The plate is placed so
that the fewest holes are opened, and of such placements the one with the smallest
longest extension. For up to `MOST_ENUMERATED` holes every set is tried; for more the
hole whose opening helps most is opened, one after another, and `proven` is False.

Edge distances are those of AISC 360-16 Table J3.4 (`fasteners.least_edge_mm`), taken
from the centre of the slot's far end. Lengths in mm, plate axes.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.errors import EngineError
from checks.engine.fasteners import PlateWasher, covering_washer, least_edge_mm
from checks.engine.plate import PlateFit, fit_plates

MOST_ENUMERATED = 12
SLACK_MM = 1e-6
CLOSE_MM = 1e-7  # of the longest extension to its optimum
LEVEL_MM = 0.5 * SLACK_MM  # an overrun that does
MOST_ROUNDS = 30
PARTS = np.array([0.25, 0.5, 0.75])
NEAR = np.array([-1.0, -0.4, 0.0, 0.4])
SPREAD = 0.02
# Holes this near the outermost one are of the same row: a punch's accuracy. (ours)
ROW_MM = 3.0
FAR_MM = 1000.0  # an opening that never holds a plate back


@dataclass(frozen=True, slots=True, kw_only=True)
class Slots:
    """Which holes of one plate to open, how far, and where the plate then sits."""

    opened: BoolArray  # (m,)
    extension_mm: FloatArray  # (m,) zero where not opened
    direction_rad: FloatArray  # (m,) plate axes, counter-clockwise from x
    longest_mm: float
    shift_mm: FloatArray  # (2,) of the holes' centroid
    turn_rad: float
    proven: bool  # no fewer holes, and no shorter longest slot, would do


def shortest_slots(
    holes_mm: FloatArray,
    rods_mm: FloatArray,
    clearance_mm: FloatArray,
    shift_limit_mm: FloatArray | None = None,
) -> Slots:
    """Open the fewest holes of one plate, each as little as may be.

    Parameters
    ----------
    holes_mm, rods_mm : array, shape (m, 2)
        Hole and rod centres, same axes and order. [mm]
    clearance_mm : array, shape (m,)
        Half of hole less rod diameter. [mm]
    shift_limit_mm : array, shape (2,), optional
        Most the plate may move, each way along each axis. [mm]

    Returns
    -------
    Slots
        With nothing opened where the plate goes on as it is.

    Raises
    ------
    EngineError
        As `fit_plates`.
    """
    plate = _Plate(holes_mm, rods_mm, clearance_mm, shift_limit_mm)
    m = plate.m
    if m <= MOST_ENUMERATED:
        for count in range(m + 1):
            sets = _sets(m, combinations(range(m), count))
            found = plate.best_of(sets)
            if found is not None:
                return found
    return plate.one_by_one()


def remaining_edge_mm(
    holes_mm: FloatArray,
    extension_mm: FloatArray,
    direction_rad: FloatArray,
    edge_distance_mm: float,
) -> FloatArray:
    """Distance to the plate's edge that each slot leaves, from its far end's centre.

    A hole of an outermost row of the pattern has an edge on its outward side, at the
    detail's edge distance; a hole within has none, and infinity is given.

    Parameters
    ----------
    holes_mm : array, shape (m, 2)
        Hole centres, plate axes. [mm]
    extension_mm, direction_rad : array, shape (m,)
        Of each slot, zero where the hole is not opened. [mm], [rad]
    edge_distance_mm : float
        Of the detail, hole centre to plate edge. [mm]

    Returns
    -------
    array, shape (m,)
        [mm]
    """
    holes = np.asarray(holes_mm, np.float64)
    reach = np.asarray(extension_mm, np.float64)[:, None] * np.stack(
        (np.cos(direction_rad), np.sin(direction_rad)), axis=1
    )
    left = np.full(holes.shape[0], np.inf)
    for side in (1.0, -1.0):
        outermost = (side * holes).max(axis=0) - side * holes <= ROW_MM
        outward = np.maximum(side * reach, 0.0)
        here = np.where(outermost, edge_distance_mm - outward, np.inf)
        left = np.minimum(left, here.min(axis=1))
    return left


def slot_feasible(remaining_mm: FloatArray, rod_diameter_mm: FloatArray) -> bool:
    """Whether every slot leaves the edge distance of AISC 360-16 Table J3.4.

    Parameters
    ----------
    remaining_mm : array, shape (m,)
        As `remaining_edge_mm` gives it; NaN is not known, and so not feasible. [mm]
    rod_diameter_mm : array, shape (m,)
        [mm]
    """
    needed = np.array([least_edge_mm(float(d)) for d in np.ravel(rod_diameter_mm)])
    return bool((np.asarray(remaining_mm) >= needed - SLACK_MM).all())


def edge_after_reaming_mm(
    hole_diameter_mm: float, hole_needed_mm: float, edge_distance_mm: float
) -> float:
    """Edge distance that larger holes leave, counted as for a slot.

    The centre stays, but the metal to the edge shrinks by half of what the diameter
    grows; that half is taken off, which is on the safe side of the table (ours).

    Parameters
    ----------
    hole_diameter_mm, hole_needed_mm : as punched, and as reamed. [mm]
    edge_distance_mm : of the detail, hole centre to plate edge. [mm]
    """
    return edge_distance_mm - max(0.0, hole_needed_mm - hole_diameter_mm) / 2.0


def ream_feasible(
    hole_diameter_mm: float,
    hole_needed_mm: float,
    edge_distance_mm: float,
    rod_diameter_mm: FloatArray,
) -> bool:
    """Whether reamed holes leave the edge distance of AISC 360-16 Table J3.4.

    Parameters
    ----------
    hole_diameter_mm, hole_needed_mm : as punched, and as reamed. [mm]
    edge_distance_mm : of the detail, hole centre to plate edge. [mm]
    rod_diameter_mm : array, shape (m,). [mm]
    """
    left = edge_after_reaming_mm(hole_diameter_mm, hole_needed_mm, edge_distance_mm)
    rods = np.ravel(np.asarray(rod_diameter_mm, np.float64))
    return slot_feasible(np.full(rods.shape, left), rods)


def slot_washer(
    hole_diameter_mm: float, extension_mm: float, rod_diameter_mm: float
) -> PlateWasher:
    """Smallest plate washer that covers a slot with the rod at either end.

    Parameters
    ----------
    hole_diameter_mm : the slot's width. [mm]
    extension_mm : what the slot is longer than the hole. [mm]
    rod_diameter_mm : [mm]
    """
    return covering_washer(hole_diameter_mm + extension_mm, rod_diameter_mm)


def _sets(m: int, chosen: Iterable[tuple[int, ...]]) -> BoolArray:
    """Each set of holes as a row of (n, m)."""
    rows = list(chosen)
    out = np.zeros((len(rows), m), dtype=np.bool_)
    for row, holes in zip(out, rows, strict=True):
        row[list(holes)] = True
    return out


class _Plate:
    """One plate, fitted with many sets of opened holes at a time."""

    def __init__(
        self,
        holes: FloatArray,
        rods: FloatArray,
        clearance: FloatArray,
        limit: FloatArray | None,
    ) -> None:
        self.holes = np.asarray(holes, np.float64)
        self.rods = np.asarray(rods, np.float64)
        self.clearance = np.asarray(clearance, np.float64)
        self.limit = None if limit is None else np.asarray(limit, np.float64)
        self.m = self.clearance.shape[0]
        if self.m == 0:
            raise EngineError("A plate without rods cannot be judged.")

    def fit(self, clearance: FloatArray) -> PlateFit:
        """Fit with each row of clearances (n, m)."""
        n = clearance.shape[0]
        shape = (n, self.m, 2)
        return fit_plates(
            np.broadcast_to(self.holes, shape),
            np.broadcast_to(self.rods, shape),
            clearance,
            None,
            None if self.limit is None else np.broadcast_to(self.limit, (n, 2)),
        )

    def reach(self, sets: BoolArray) -> tuple[BoolArray, FloatArray, bool]:
        """Which sets will do, an extension that lets each on, and whether proved."""
        if self.limit is None and not sets.all(axis=1).any():
            # With no limit on the shift the opened holes can simply be left out.
            shape = (*sets.shape, 2)
            holes = np.broadcast_to(self.holes, shape)
            rods = np.broadcast_to(self.rods, shape)
            clear = np.broadcast_to(self.clearance, sets.shape)
            fit = fit_plates(holes, rods, clear, ~sets)
            kept = np.where(~sets[..., None], holes, 0.0).sum(axis=1)
            centre = kept / (~sets).sum(axis=1)[:, None]
            c, s = np.cos(fit.turn_rad)[:, None], np.sin(fit.turn_rad)[:, None]
            x, y = np.moveaxis(holes - centre[:, None], 2, 0)
            placed = np.stack((c * x - s * y, s * x + c * y), axis=2)
            placed += (centre + fit.shift_mm)[:, None]
            over = np.hypot(*np.moveaxis(placed - rods, 2, 0)) - clear
            high = np.where(sets, over, 0.0).max(axis=1) + SLACK_MM
        else:
            centre = self.holes.mean(axis=0)
            span = np.hypot(*(self.holes - centre).T).max()
            away = np.hypot(*(self.rods - centre).T).max()
            far = 2.0 * (span + away) + np.abs(self.clearance).max()
            high = np.full(sets.shape[0], far)
            fit = self.fit(self.clearance + sets * far)
        return fit.overrun_mm <= SLACK_MM, high, bool(fit.proven.all())

    def best_of(self, sets: BoolArray) -> Slots | None:
        """Best of the sets that will do, None if none does."""
        if self.limit is not None:
            # What will not do without the limit will not do with it.
            free = _Plate(self.holes, self.rods, self.clearance, None)
            sets = sets[free.reach(sets)[0]]
            if sets.shape[0] == 0:
                return None
        will, high, proven = self.reach(sets)
        if not will.any():
            return None
        sets = sets[will]
        extension = self._shorten(sets, high[will]) if sets.any() else high[:1] * 0.0
        k = int(extension.argmin())
        return self._slots(sets[k], float(extension[k]), proven=proven)

    def _shorten(self, sets: BoolArray, high: FloatArray) -> FloatArray:
        """Least longest extension (n,) of the best set, and no less of the others.

        The overrun falls as the extension grows, and by no more than it grows, so
        the least is where it reaches zero: between the last that does not do and the
        first that does, of points spread over the range and about its chord.
        """
        low = np.zeros_like(high)
        f_low = np.full_like(high, self.fit(self.clearance[None]).overrun_mm[0])
        f_high = self.fit(self.clearance + sets * high[:, None]).overrun_mm
        for _ in range(MOST_ROUNDS):
            at = np.flatnonzero((high - low > CLOSE_MM) & (low < high.min()))
            if at.size == 0:
                break
            a, b, fa, fb = (v[at, None] for v in (low, high, f_low, f_high))
            with np.errstate(divide="ignore", invalid="ignore"):
                chord = a + (b - a) * (fa - LEVEL_MM) / (fa - fb)
            near = np.nan_to_num(chord) + np.maximum(SPREAD * (b - a), CLOSE_MM) * NEAR
            t = np.concatenate((a + (b - a) * PARTS, near), axis=1)
            # By no more than it grows: nothing below this does.
            t = np.sort(np.clip(t, a + np.maximum(fa - LEVEL_MM, 0.0), b), axis=1)
            n, k = t.shape
            rows = np.repeat(sets[at], k, axis=0)
            f = self.fit(self.clearance + rows * t.reshape(-1, 1)).overrun_mm
            t, f = np.hstack((a, t, b)), np.hstack((fa, f.reshape(n, k), fb))
            does = f <= LEVEL_MM
            does[:, 0], does[:, -1] = False, True  # as the range stands
            first = does.argmax(axis=1)
            row = np.arange(n)
            low[at], f_low[at] = t[row, first - 1], f[row, first - 1]
            high[at], f_high[at] = t[row, first], f[row, first]
        return high

    def one_by_one(self) -> Slots:
        """Open the hole whose opening helps most, until the plate goes on."""
        opened = np.zeros(self.m, dtype=np.bool_)
        while not opened.all():
            rows = np.flatnonzero(~opened)
            sets = np.repeat(opened[None], rows.size, axis=0)
            sets[np.arange(rows.size), rows] = True
            fit = self.fit(self.clearance + sets * FAR_MM)
            k = int(fit.overrun_mm.argmin())
            opened = sets[k]
            if fit.overrun_mm[k] <= SLACK_MM:
                break
        _, high, _ = self.reach(opened[None])
        longest = float(self._shorten(opened[None], high)[0])
        return self._slots(opened, longest, proven=False)

    def _slots(self, opened: BoolArray, longest: float, *, proven: bool) -> Slots:
        fit = self.fit((self.clearance + opened * longest)[None])
        proven = proven and bool(fit.proven[0])
        turn, shift = float(fit.turn_rad[0]), fit.shift_mm[0]
        centre = self.holes.mean(axis=0)
        c, s = np.cos(turn), np.sin(turn)
        back = (self.rods - centre - shift) @ np.array([[c, -s], [s, c]])
        gap = back - (self.holes - centre)
        over = np.maximum(np.hypot(gap[:, 0], gap[:, 1]) - self.clearance, 0.0)
        extension = np.where(opened, over, 0.0)
        return Slots(
            opened=opened & (extension > 0.0),
            extension_mm=extension,
            direction_rad=np.where(opened, np.arctan2(gap[:, 1], gap[:, 0]), 0.0),
            longest_mm=float(extension.max()),
            shift_mm=shift,
            turn_rad=turn,
            proven=proven,
        )
