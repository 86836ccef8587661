"""One rigid move of the whole steel, or of one frame line, against the concrete.

A position is to be reworked when a rod of it is further from its moved place than its
*allowance*: the lesser of the rod tolerance and the hole's clearance. The move sought
leaves the fewest positions to rework; of such moves, the smallest worst miss
(distance less allowance, over the positions kept).

For the whole steel `steel_search` finds it and `steel_vote` a good one soon. Along one
axis the positions are intervals, and the deepest overlap is exact.
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
    """Move all the steel: a shift and a turn.

    Parameters
    ----------
    planned_mm : array, shape (p, m, 2)
        Where the plan, and so the steel, wants each rod of p positions; plan
        axes. [mm]
    rods_mm : array, shape (p, m, 2)
        As-built rods. [mm]
    allowance_mm : array, shape (p, m)
        How far a rod may be from its moved place before it is reworked. [mm]
    mask : array, shape (p, m), optional
        False where a position has no such rod, or none was measured. A position
        without rods is passed over: neither before nor after to rework, miss NaN.
    effort : "exact" or "quick"
        Whether to search until no better move can be, or to take the best of many
        candidates, which is soon done and nearly always as good; `proven` then only
        where every position that some move brings within is kept.
    own_overrun_mm : array, shape (p,), optional
        Of each position placed by itself as `fit_plates` does, where it is known. [mm]

    Returns
    -------
    SteelMove

    Raises
    ------
    EngineError
        If no position has a rod, or a number that counts is not finite.
    """
    grid = SteelGrid(planned_mm, rods_mm, allowance_mm, mask)
    can = (
        _find_fittable(grid)
        if own_interference_mm is None
        else _fittable(grid, own_interference_mm)
    )
    if not can.any():
        return grid.evaluate_shift(np.zeros(2), 0.0, proven=True)
    if effort == "quick":
        kept, fit, proven = _shift_quickly(grid, can)
    else:
        search = ExactSearch(grid, can)
        kept, proven = search.run().kept, search.proven
        fit = grid.fit_positions(kept)
    return grid.evaluate_shift(
        fit.shift_mm[0], float(fit.rotation_rad[0]), proven=proven, kept=kept
    )


def _shift_quickly(grid: SteelGrid, can: BoolArray) -> tuple[BoolArray, PlateFit, bool]:
    """Positions to keep and their fit, by vote unless all that can be kept are."""
    fit = grid.fit_positions(can, brief=True)
    if fit.interference_mm[0] <= SLACK_MM:
        return can, fit, bool(fit.proven[0])
    use = grid.mask & can[:, None]
    ballot = heuristic.CandidateRods(
        place=grid.planned[use] - grid.about,
        off=(grid.rods - grid.planned)[use],
        allowance=grid.allowance[use],
        start=np.append(0, np.cumsum(use[can].sum(axis=1))[:-1]),
    )
    kept = np.zeros_like(can)
    kept[can] = heuristic.select_positions_sampled(ballot)
    if not kept.any():
        kept[int(can.argmax())] = True  # its own placement keeps it at least
    fit = grid.fit_positions(kept, brief=True)
    for _ in range(MAX_QUICK_FITS):
        move = grid.evaluate_shift(
            fit.shift_mm[0], float(fit.rotation_rad[0]), proven=False, kept=kept
        )
        within = grid.counts & ~move.rework_after
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
    """Move the steel of one frame line along one axis, without a turn.

    Parameters
    ----------
    planned_mm, rods_mm, allowance_mm, mask : as `fit_steel`, of the line's positions.
    axis : array, shape (2,)
        Direction of the move, plan axes; its length does not matter.

    Returns
    -------
    SteelMove

    Raises
    ------
    EngineError
        As `fit_steel`, or if the axis has no length.
    """
    grid = SteelGrid(planned_mm, rods_mm, allowance_mm, mask)
    length = float(np.hypot(*np.asarray(axis, np.float64)))
    if not length > 0.0:
        raise EngineError("The axis of a frame line's move has a direction.")
    unit = np.asarray(axis, np.float64) / length
    off = grid.rods - grid.planned
    along = off @ unit
    across = np.abs(off @ np.array([-unit[1], unit[0]]))
    with np.errstate(invalid="ignore"):
        half = np.sqrt((grid.allowance + SLACK_MM) ** 2 - across**2)
    half = np.where(grid.allowance + SLACK_MM >= across, half, np.nan)
    low = np.where(grid.mask, along - half, -np.inf).max(axis=1)
    high = np.where(grid.mask, along + half, np.inf).min(axis=1)
    able = grid.counts & (low <= high)  # False where a rod is too far across
    best = 0.0
    if able.any():
        best = _deepest_overlap(grid, able, low, high, (along, across))
    return grid.evaluate_shift(best * unit, 0.0, proven=True)


def _deepest_overlap(
    grid: SteelGrid,
    able: BoolArray,
    low: FloatArray,
    high: FloatArray,
    offsets: tuple[FloatArray, FloatArray],
) -> float:
    """The move (along the axis) that the most positions allow, worst miss least."""
    starts = np.unique(low[able])
    depth = (able & (low <= starts[:, None]) & (high >= starts[:, None])).sum(axis=1)
    best, least = 0.0, np.inf
    for start in starts[depth == depth.max()]:
        kept = able & (low <= start) & (high >= start)
        a, b = float(start), float(high[kept].min())
        use = grid.mask & kept[:, None]
        along, across = (v[use] for v in offsets)
        allowance = grid.allowance[use]
        # The worst miss is convex in the move: halve on the side it falls to.
        for _ in range(80):
            mid = 0.5 * (a + b)
            reach = np.hypot(along - mid, across)
            worst = int((reach - allowance).argmax())
            a, b = (mid, b) if along[worst] > mid else (a, mid)
        mid = 0.5 * (a + b)
        value = float((np.hypot(along - mid, across) - allowance).max())
        if value < least:
            best, least = mid, value
    return best


def _find_fittable(grid: SteelGrid) -> BoolArray:
    """Positions (p,) that some move would bring within, taken by themselves."""
    overrun = np.full(grid.counts.shape, np.inf)
    at = np.flatnonzero(grid.counts)
    fit = fit_plates(grid.planned[at], grid.rods[at], grid.allowance[at], grid.mask[at])
    overrun[at] = fit.interference_mm
    return _fittable(grid, overrun)


def _fittable(grid: SteelGrid, overrun_mm: FloatArray) -> BoolArray:
    able: BoolArray = grid.counts & (overrun_mm - PROOF_TOLERANCE_MM <= SLACK_MM)
    return able
