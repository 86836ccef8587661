"""Plate fit: whether a base plate goes over its rods, and by how much it does not.

Over all rigid placements of the hole pattern (a rotation and a shift, no scale),
minimise the largest of |rod - placed hole| - clearance, where clearance =
(hole - rod diameter) / 2. The minimum is the *interference*: at most zero, the plate
fits, and the amount is the slack of the tightest hole. The problem is a second-order
cone problem and, but for the rotation, convex: `interior_point` solves it, `rotation`
proves that no other rotation is better. `METHOD.md` explains both.

     o <- hole, placed        the rod's centre may be anywhere in a circle of
    (  x ) rod's centre       radius clearance + interference about the hole

Lengths in mm, angles in rad counter-clockwise; g groups (plates) of m holes.
"""

from dataclasses import dataclass, fields

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.errors import EngineError
from checks.engine.plate_fit.batch import (
    COUNTED,
    FREE,
    HELD,
    BatchResult,
    PlacementBounds,
    PlateBatch,
)

__all__ = [
    "COUNTED",
    "FREE",
    "HELD",
    "PlateFit",
    "fit_plates",
    "fit_plates_within_bounds",
    "hole_needed_mm",
    "select_plates",
]

BATCH_RODS = 16_384  # rods solved together: what a processor's cache holds


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateFit:
    """Best placement of each plate over its rods.

    Where several placements are equally good (a single rod, one tight hole), it is
    one of them.
    """

    interference_mm: FloatArray  # (g,) at most zero: the plate goes on
    shift_mm: FloatArray  # (g, 2) of the holes' centroid, from its planned place
    rotation_rad: FloatArray  # (g,) about the holes' centroid, in (-pi, pi]
    distance_mm: FloatArray  # (g, m) rod from placed hole; NaN where masked out
    gap_mm: FloatArray  # (g,) interference less a lower bound proved by duality
    # (g,) no placement at any rotation is better by 5e-7 mm. With a threshold: none
    # reaches the threshold where the interference is above it.
    proven: BoolArray


def fit_plates(
    holes_mm: FloatArray,
    rods_mm: FloatArray,
    clearance_mm: FloatArray,
    mask: BoolArray | None = None,
    shift_limit_mm: FloatArray | None = None,
    rotation_limit_rad: FloatArray | None = None,
    *,
    role: IntArray | None = None,
    threshold_mm: float | FloatArray | None = None,
    start: tuple[FloatArray, FloatArray] | None = None,
    brief: bool = False,
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
        False where a group has no such rod; its numbers are ignored.
    shift_limit_mm : array, shape (g, 2), optional
        Largest shift of the holes' centroid, either way along each axis. [mm]
    rotation_limit_rad : array, shape (g,), optional
        Largest rotation, either way. [rad]
    role : array, shape (g, m), optional
        `COUNTED`: its excess counts. `HELD`: it must be within its clearance, and the
        interference is that of the others; infinite where no placement does. `FREE`:
        it may miss, and counts for the centroid alone. All are counted by default.
    threshold_mm : float, or array, shape (g,), optional
        Prove no more than whether the interference is above this value. [mm]
    start : arrays, shape (g,) and (g, 2), optional
        Rotation and shift to start from, instead of the least-squares placement and,
        under a limit, of a fit without it. [rad], [mm]
    brief : bool
        Give up early on plates that are hard to prove.

    Returns
    -------
    PlateFit

    Raises
    ------
    EngineError
        If a number that counts is not finite, a group has no rod that counts, or a
        limit is negative.
    """
    real = np.ones(np.shape(clearance_mm), np.bool_) if mask is None else mask
    if role is not None:
        mask = real & (role != FREE)
        if not (mask & (role == COUNTED)).any(axis=1).all():
            raise EngineError("A plate needs at least one rod that counts.")
    centre = _hole_centroids(holes_mm, real)
    holes, rods, clearance, mask, use = _check_arrays(
        holes_mm, rods_mm, clearance_mm, mask
    )
    g, m = clearance.shape
    bounds = PlacementBounds(
        shift_mm=_check_limit(shift_limit_mm, g),
        rotation_rad=_check_rotation_limit(rotation_limit_rad, g),
    )
    threshold = None if threshold_mm is None else np.broadcast_to(threshold_mm, (g,))
    results = BatchResult(g, m)
    size = max(1, BATCH_RODS // max(m, 1))
    for first in range(0, g, size):
        part = slice(first, first + size)
        batch = PlateBatch(
            holes[part], rods[part], clearance[part], mask[part], centre[part]
        )
        if role is not None:
            batch.set_roles(np.take_along_axis(role, use, axis=1)[part])
        if start is not None:
            batch.set_start(start[0][part], start[1][part], bounds.take(part))
        batch.solve(results, part, bounds.take(part), threshold, brief=brief)
    # A search may wind around the circle: report the angle in (-pi, pi].
    rotation = results.rotation - 2.0 * np.pi * np.ceil(
        results.rotation / (2.0 * np.pi) - 0.5
    )
    return PlateFit(
        interference_mm=results.interference,
        shift_mm=results.shift,
        rotation_rad=rotation,
        distance_mm=np.where(mask, results.distance, np.nan),
        gap_mm=results.gap,
        proven=results.proven,
    )


def select_plates(fit: PlateFit, at: IntArray) -> PlateFit:
    """Select the fits of some plates, as copies.

    Parameters
    ----------
    fit : PlateFit
        Of plates (g,).
    at : array of int
        Indices of the plates.
    """
    return PlateFit(
        interference_mm=fit.interference_mm[at],
        shift_mm=fit.shift_mm[at],
        rotation_rad=fit.rotation_rad[at],
        distance_mm=fit.distance_mm[at],
        gap_mm=fit.gap_mm[at],
        proven=fit.proven[at],
    )


def fit_plates_within_bounds(
    free: PlateFit,
    holes_mm: FloatArray,
    rods_mm: FloatArray,
    clearance_mm: FloatArray,
    mask: BoolArray | None,
    *,
    shift_limit_mm: FloatArray,
    rotation_limit_rad: FloatArray,
    prove: bool = True,
) -> PlateFit:
    """Place each plate within limits on shift and rotation, given its free fit.

    As `fit_plates`, whose result without limits is `free`. A free placement within
    the limits is already the best there; only the other plates are solved again.

    Parameters
    ----------
    free : PlateFit
        Of the same plates (g,), without limits.
    holes_mm, rods_mm : array, shape (g, m, 2)
        Hole and rod centres. [mm]
    clearance_mm : array, shape (g, m)
        Half of hole less rod diameter. [mm]
    mask : array, shape (g, m), optional
        False where a group has no such rod.
    shift_limit_mm : array, shape (g, 2)
        Largest shift, either way along each axis. [mm]
    rotation_limit_rad : array, shape (g,)
        Largest rotation, either way. [rad]
    prove : bool
        Search every rotation within the limit. Otherwise the valley next to the free
        placement is searched to its bottom, and `proven` says only, for a plate that
        does not go on, whether a short search showed that no rotation lets it on.
    """
    bounded = select_plates(free, np.arange(free.rotation_rad.size))
    beyond = (np.abs(free.shift_mm) > shift_limit_mm).any(axis=1)
    at = np.flatnonzero(beyond | (np.abs(free.rotation_rad) > rotation_limit_rad))
    if at.size == 0:
        return bounded
    again = fit_plates(
        holes_mm[at],
        rods_mm[at],
        clearance_mm[at],
        None if mask is None else mask[at],
        shift_limit_mm[at],
        rotation_limit_rad[at],
        threshold_mm=None if prove else 0.0,
        start=(free.rotation_rad[at], free.shift_mm[at]),
        brief=not prove,
    )
    for field in fields(PlateFit):
        getattr(bounded, field.name)[at] = getattr(again, field.name)
    return bounded


def hole_needed_mm(fit: PlateFit, hole_diameter_mm: FloatArray) -> FloatArray:
    """Compute the one hole diameter that would let each plate on.

    hole + 2 interference, because every clearance grows by half of what the hole does.
    It is less than the hole where the plate fits with slack. All holes must have this
    diameter; rods of several diameters are accounted for, because each hole's own
    clearance went into the fit.

    Parameters
    ----------
    fit : PlateFit
        Of plates whose clearances are (hole - rod diameter) / 2.
    hole_diameter_mm : array, shape (g,)
        Diameter of all holes of each plate. [mm]

    Returns
    -------
    array, shape (g,)
        Diameter needed, never less than zero. [mm]
    """
    hole = np.asarray(hole_diameter_mm, np.float64)
    out: FloatArray = np.maximum(hole + 2.0 * fit.interference_mm, 0.0)
    return out


def _check_limit(limit_mm: FloatArray | None, plates: int) -> FloatArray | None:
    """Return the limits (plates, 2) of the shift, checked."""
    if limit_mm is None:
        return None
    limit = np.asarray(limit_mm, np.float64)
    if limit.shape != (plates, 2) or not (limit >= 0.0).all():
        raise EngineError(
            "A plate's shift limit is two lengths, zero or more, one for each axis."
        )
    return limit


def _check_rotation_limit(
    limit_rad: FloatArray | None, plates: int
) -> FloatArray | None:
    """Return the limits (plates,) of the rotation, checked."""
    if limit_rad is None:
        return None
    limit = np.asarray(limit_rad, np.float64)
    if limit.shape != (plates,) or not (limit >= 0.0).all():
        raise EngineError("A plate's rotation limit is an angle, zero or more.")
    return limit


def _check_arrays(
    holes_mm: FloatArray,
    rods_mm: FloatArray,
    clearance_mm: FloatArray,
    mask: BoolArray | None,
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray, IntArray]:
    """Check shapes and values; replace masked rods by a copy of their group's first.

    A copy adds no constraint, so padded groups can be solved together. The last array
    returned holds the rod (g, m) each one is a copy of.
    """
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
        raise EngineError("A plate without rods cannot be fitted: measure its rods.")
    use = np.where(mask, np.arange(mask.shape[1]), mask.argmax(axis=1)[:, None])
    if not mask.all():
        row = np.arange(mask.shape[0])[:, None]
        holes, rods, clearance = holes[row, use], rods[row, use], clearance[row, use]
    if not (
        np.isfinite(holes).all()
        and np.isfinite(rods).all()
        and np.isfinite(clearance).all()
    ):
        raise EngineError(
            "A rod, hole or diameter of a plate is missing: every rod that counts"
            " needs its position, its diameter and its hole."
        )
    return holes, rods, clearance, mask, use


def _hole_centroids(holes_mm: FloatArray, real: BoolArray) -> FloatArray:
    """Compute the centroid (g, 2) of each group's holes; NaN where it has none."""
    holes = np.where(real[..., None], holes_mm, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        out: FloatArray = holes.sum(axis=1) / real.sum(axis=1)[:, None]
    return out
