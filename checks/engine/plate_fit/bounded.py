"""Fit of one plate whose rotation is limited like its shift.

A rotation moves the hole furthest from the centroid by the chord
2 r sin(|rotation| / 2). Lengths in mm, angles in rad counter-clockwise.
"""

from dataclasses import dataclass
from math import asin, pi, sin

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.rigid_fit import rotate_rows


@dataclass(frozen=True, slots=True, kw_only=True)
class BoundedPlacement:
    """A placement of a plate, and the interference it has there."""

    interference_mm: float  # the largest of rod from hole less clearance
    shift_mm: FloatArray  # (2,) of the holes' centroid
    rotation_rad: float  # about it, counter-clockwise
    gap_mm: FloatArray  # (m, 2) rod from placed hole, in the plate's own axes


def rotation_chord_mm(holes_mm: FloatArray, rotation_rad: float) -> float:
    """Compute how far a rotation moves the outermost hole, 2 r sin(rotation / 2).

    Parameters
    ----------
    holes_mm : array, shape (m, 2)
        Holes, rotated about their centroid. [mm]
    rotation_rad : float
        Either way. [rad]
    """
    return 2.0 * _largest_radius(holes_mm) * abs(sin(rotation_rad / 2.0))


def fit_plate_within(
    holes_mm: FloatArray, rods_mm: FloatArray, clearance_mm: FloatArray, limit_mm: float
) -> BoundedPlacement:
    """Place a plate whose shift and rotation are both limited.

    Minimises the largest of |rod - placed hole| - clearance, for a shift within
    `limit_mm` along each axis and a rotation that moves no hole further than that:
    sequential quadratic programming [1]_ on the squared cones, started at both ends of
    the rotation and in between. The result is exact for the placement found; that no
    other is better is not proved.

    Parameters
    ----------
    holes_mm, rods_mm : array, shape (m, 2)
        Hole and rod centres, same axes and order. [mm]
    clearance_mm : array, shape (m,)
        Half of hole less rod diameter. [mm]
    limit_mm : float
        Largest movement of a hole by shift or rotation, each by itself. [mm]

    References
    ----------
    .. [1] D. Kraft, *A software package for sequential quadratic programming*,
       DFVLR-FB 88-28, 1988, as SciPy's `minimize` has it.
    """
    radius = _largest_radius(holes_mm)
    max_rotation = (
        2.0 * asin(min(1.0, limit_mm / (2.0 * radius))) if radius > 0.0 else pi
    )
    limits = (limit_mm, max_rotation)
    placements = [
        _minimise_from(holes_mm, rods_mm, clearance_mm, limits, at)
        for at in (-max_rotation, 0.0, max_rotation)
    ]
    return min(placements, key=lambda placement: placement.interference_mm)


def _largest_radius(holes_mm: FloatArray) -> float:
    arm = holes_mm - holes_mm.mean(axis=0)
    return float(np.hypot(arm[:, 0], arm[:, 1]).max())


def _minimise_from(
    holes: FloatArray,
    rods: FloatArray,
    clearance: FloatArray,
    limits: tuple[float, float],
    rotation: float,
) -> BoundedPlacement:
    """Minimise the interference from one rotation, within the limits. [mm], [rad]"""
    from scipy.optimize import minimize

    max_shift, max_rotation = limits
    start = _placement_at(holes, rods, clearance, np.zeros(2), rotation)
    # Scaled to sizes about one: the solver has one tolerance for lengths and angles.
    size = max(max_shift, float(np.abs(start.gap_mm).max()), 1.0)
    share = max_rotation if max_rotation > 0.0 else 1.0

    def margins(x: FloatArray) -> FloatArray:
        gap = _placement_at(holes, rods, clearance, size * x[:2], share * x[2]).gap_mm
        reach = x[3] + clearance / size
        return np.concatenate(
            (
                reach**2 - (gap[:, 0] ** 2 + gap[:, 1] ** 2) / size**2,
                reach,
                max_shift / size - x[:2],
                max_shift / size + x[:2],
                [max_rotation / share - x[2], max_rotation / share + x[2]],
            )
        )

    found = minimize(
        lambda x: x[3],
        np.array([0.0, 0.0, rotation / share, start.interference_mm / size]),
        method="SLSQP",
        constraints={"type": "ineq", "fun": margins},
        options={"ftol": 1e-12, "maxiter": 200},
    )
    shift = np.clip(size * found.x[:2], -max_shift, max_shift)
    best = _placement_at(
        holes,
        rods,
        clearance,
        shift,
        float(np.clip(share * found.x[2], -max_rotation, max_rotation)),
    )
    # The solver may end worse than it started, where it found no feasible step.
    return min(best, start, key=lambda placement: placement.interference_mm)


def _placement_at(
    holes: FloatArray,
    rods: FloatArray,
    clearance: FloatArray,
    shift: FloatArray,
    rotation: float,
) -> BoundedPlacement:
    """Compute a plate's interference at a placement. [mm], [rad]"""
    centre = holes.mean(axis=0)
    back = rotate_rows(rods - centre - shift, np.cos(-rotation), np.sin(-rotation))
    gap = back - (holes - centre)
    over = np.hypot(gap[:, 0], gap[:, 1]) - clearance
    return BoundedPlacement(
        interference_mm=float(over.max()),
        shift_mm=shift,
        rotation_rad=rotation,
        gap_mm=gap,
    )
