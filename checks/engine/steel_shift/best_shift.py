"""The best rigid shift of the whole steel, or of one frame line, on the concrete.

A position needs rework when a rod of it is further from its shifted place than its
*allowance*: the lesser of the rod tolerance and the hole's clearance. The best shift
leaves the fewest positions to rework and, among those, the least worst excess
(distance less allowance, over the positions kept).

For the whole steel, `exact` finds it and `heuristic` finds a good one quickly. Along
one axis each position allows an interval, and the deepest overlap is exact.
"""

from typing import Literal

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.conformity import SLACK_MM
from checks.engine.errors import EngineError
from checks.engine.plate_fit.batch import PROOF_TOLERANCE_MM
from checks.engine.plate_fit.plate import PlateFit, fit_plates
from checks.engine.steel_shift import heuristic
from checks.engine.steel_shift.exact import ExactSearch
from checks.engine.steel_shift.grid import SteelGrid, SteelShift

__all__ = ["Effort", "SteelShift", "fit_frame_line_shift", "fit_steel_shift"]

MAX_QUICK_FITS = 3
CUTS = np.arange(1, 16) / 16.0  # compared together: sixteen parts of an interval
CUT_TOLERANCE_MM = 1e-12

Effort = Literal["exact", "quick"]


def fit_steel_shift(
    planned_mm: FloatArray,
    rods_mm: FloatArray,
    allowance_mm: FloatArray,
    mask: BoolArray | None = None,
    *,
    effort: Effort = "exact",
    own_interference_mm: FloatArray | None = None,
) -> SteelShift:
    """Find the best shift and rotation of the whole steel.

    Parameters
    ----------
    planned_mm : array, shape (p, m, 2)
        Planned rods of p positions, which is where the steel wants them; plan axes.
        [mm]
    rods_mm : array, shape (p, m, 2)
        As-built rods. [mm]
    allowance_mm : array, shape (p, m)
        Largest distance of a rod from its shifted place without rework. [mm]
    mask : array, shape (p, m), optional
        False where a position has no such rod, or none was measured. A position
        without rods is ignored: no rework before or after, excess NaN.
    effort : "exact" or "quick"
        "exact" searches until no better shift is possible. "quick" takes the best of
        many candidates, nearly always as good; `proven` is then True only where every
        position that some shift brings within is kept.
    own_interference_mm : array, shape (p,), optional
        Interference of each position fitted by itself, where it is known. [mm]

    Returns
    -------
    SteelShift

    Raises
    ------
    EngineError
        If no position has a rod, or a number that counts is not finite.
    """
    grid = SteelGrid(planned_mm, rods_mm, allowance_mm, mask)
    fittable = (
        _find_fittable(grid)
        if own_interference_mm is None
        else _fittable(grid, own_interference_mm)
    )
    if not fittable.any():
        return grid.evaluate_shift(np.zeros(2), 0.0, proven=True)
    if effort == "quick":
        kept, fit, proven = _shift_quickly(grid, fittable)
    else:
        search = ExactSearch(grid, fittable)
        kept, proven = search.run().kept, search.proven
        fit = grid.fit_positions(kept)
    return grid.evaluate_shift(
        fit.shift_mm[0], float(fit.rotation_rad[0]), proven=proven, kept=kept
    )


def _shift_quickly(
    grid: SteelGrid, fittable: BoolArray
) -> tuple[BoolArray, PlateFit, bool]:
    """Choose the positions to keep and fit them: all at once, else by sampling."""
    fit = grid.fit_positions(fittable, brief=True)
    if fit.interference_mm[0] <= SLACK_MM:
        return fittable, fit, bool(fit.proven[0])
    use = grid.mask & fittable[:, None]
    candidates = heuristic.CandidateRods(
        place=grid.planned[use] - grid.centroid,
        off=(grid.rods - grid.planned)[use],
        allowance=grid.allowance[use],
        start=np.append(0, np.cumsum(use[fittable].sum(axis=1))[:-1]),
    )
    kept = np.zeros_like(fittable)
    kept[fittable] = heuristic.select_positions_sampled(candidates)
    if not kept.any():
        kept[int(fittable.argmax())] = True  # its own placement keeps it at least
    fit = grid.fit_positions(kept, brief=True)
    for _ in range(MAX_QUICK_FITS):
        shift = grid.evaluate_shift(
            fit.shift_mm[0], float(fit.rotation_rad[0]), proven=False, kept=kept
        )
        within = grid.counts & ~shift.rework_after
        if within.sum() <= kept.sum():
            break
        kept, fit = within, grid.fit_positions(within, brief=True)
    return kept, fit, False


def fit_frame_line_shift(
    planned_mm: FloatArray,
    rods_mm: FloatArray,
    allowance_mm: FloatArray,
    axis: FloatArray,
    mask: BoolArray | None = None,
) -> SteelShift:
    """Find the best shift of one frame line along one axis, without rotation.

    Parameters
    ----------
    planned_mm, rods_mm, allowance_mm, mask : arrays
        As in `fit_steel_shift`, of the line's positions. [mm]
    axis : array, shape (2,)
        Direction of the shift, plan axes; its length does not matter.

    Returns
    -------
    SteelShift

    Raises
    ------
    EngineError
        As `fit_steel_shift`, or if the axis has no length.
    """
    grid = SteelGrid(planned_mm, rods_mm, allowance_mm, mask)
    length = float(np.hypot(*np.asarray(axis, np.float64)))
    if not length > 0.0:
        raise EngineError("The axis of a frame line's shift needs a direction.")
    unit = np.asarray(axis, np.float64) / length
    off = grid.rods - grid.planned
    along = off @ unit
    across = np.abs(off @ np.array([-unit[1], unit[0]]))
    with np.errstate(invalid="ignore"):
        half = np.sqrt((grid.allowance + SLACK_MM) ** 2 - across**2)
    half = np.where(grid.allowance + SLACK_MM >= across, half, np.nan)
    low = np.where(grid.mask, along - half, -np.inf).max(axis=1)
    high = np.where(grid.mask, along + half, np.inf).min(axis=1)
    allows = grid.counts & (low <= high)  # False where a rod is too far across
    best = 0.0
    if allows.any():
        best = _deepest_overlap(grid, allows, low, high, (along, across))
    return grid.evaluate_shift(best * unit, 0.0, proven=True)


def _deepest_overlap(
    grid: SteelGrid,
    allows: BoolArray,
    low: FloatArray,
    high: FloatArray,
    offsets: tuple[FloatArray, FloatArray],
) -> float:
    """Find the shift along the axis that most positions allow, worst excess least.

    The number of positions that allow a shift changes only at the ends of their
    intervals, so the starts of the intervals are the only candidates.
    """
    starts = np.unique(low[allows])
    begun = np.searchsorted(np.sort(low[allows]), starts, side="right")
    depth = begun - np.searchsorted(np.sort(high[allows]), starts, side="left")
    best, least = 0.0, np.inf
    for start in starts[depth == depth.max()]:
        kept = allows & (low <= start) & (high >= start)
        a, b = float(start), float(high[kept].min())
        use = grid.mask & kept[:, None]
        along, across = (v[use] for v in offsets)
        allowance = grid.allowance[use]
        # The worst excess is convex in the shift: cut to where it stops falling.
        while b - a > CUT_TOLERANCE_MM:
            cuts = a + (b - a) * CUTS
            reach = np.hypot(along - cuts[:, None], across)
            worst = (reach - allowance).argmax(axis=1)
            falls = int(np.count_nonzero(along[worst] > cuts))
            a, b = (
                float(cuts[falls - 1]) if falls else a,
                float(cuts[falls]) if falls < len(cuts) else b,
            )
        mid = 0.5 * (a + b)
        value = float((np.hypot(along - mid, across) - allowance).max())
        if value < least:
            best, least = mid, value
    return best


def _find_fittable(grid: SteelGrid) -> BoolArray:
    """Return the positions (p,) that some shift brings within, each by itself."""
    interference = np.full(grid.counts.shape, np.inf)
    at = np.flatnonzero(grid.counts)
    fit = fit_plates(grid.planned[at], grid.rods[at], grid.allowance[at], grid.mask[at])
    interference[at] = fit.interference_mm
    return _fittable(grid, interference)


def _fittable(grid: SteelGrid, interference_mm: FloatArray) -> BoolArray:
    allows: BoolArray = grid.counts & (interference_mm - PROOF_TOLERANCE_MM <= SLACK_MM)
    return allows
