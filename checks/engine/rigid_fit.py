"""Rigid fit: the rotation and shift that best carry planned rods onto measured ones.

    fitted = centroid + shift + R(rotation) (planned - centroid)

with the centroid that of the planned points, so that the shift is how far the middle
of the group is out, whatever the rotation. No scale is fitted: steel has none.

Also the fit of a plate whose rotation is limited like its shift: a rotation moves the
hole furthest from the middle by the chord 2 r sin(|rotation| / 2).
"""

from dataclasses import dataclass
from enum import StrEnum
from math import asin, pi, sin

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray

MIN_SPREAD_MM = 1e-3
"""Points nearer than this to their centroid (root of the summed squares) coincide."""


class RigidFitOutcome(StrEnum):
    """Outcome of the fit of one group."""

    FITTED = "fitted"
    SHIFT_ONLY = "shift_only"  # one rod, or coincident points: rotation taken as 0
    UNMEASURED = "unmeasured"  # no rod: rotation and shift are NaN


@dataclass(frozen=True, slots=True, kw_only=True)
class RigidFit:
    """Best rotation and shift of each group, and the residual of each rod."""

    rotation_rad: FloatArray  # (n_groups,) counter-clockwise positive
    shift_mm: FloatArray  # (n_groups, 2) of the centroid of the planned points
    residuals_mm: FloatArray  # (n_groups, n_rods, 2) measured minus fitted
    outcome: npt.NDArray[np.str_]  # (n_groups,) values of FitOutcome


def fit_rigid(
    planned: npt.ArrayLike,
    measured: npt.ArrayLike,
    weights: npt.ArrayLike | None = None,
) -> RigidFit:
    """Find the rotation and shift that carry planned points onto measured ones.

    Minimises sum(w |measured - fitted|**2), for all groups at once. With p and m
    the points about their weighted centroids, in closed form [1]_ [2]_::

        rotation = atan2(sum(w (p_x m_y - p_y m_x)), sum(w (p_x m_x + p_y m_y)))

    Parameters
    ----------
    planned : array, shape (n_groups, n_rods, 2)
        Rod centres on the plan, along and in. NaN pads a group of fewer rods. [mm]
    measured : array, shape (n_groups, n_rods, 2)
        As-built rod centres, same axes, same order. NaN: not measured. [mm]
    weights : array, shape (n_groups, n_rods), optional
        Weight of each rod, or a mask; equal weights by default. A rod of weight 0
        takes no part in the fit but still has a residual. [1/mm² or bool]

    Returns
    -------
    RigidFit
        Rotation, shift, residuals and outcome by group. [rad, mm]

    Raises
    ------
    ValueError
        If the shapes do not agree or a weight is negative.

    References
    ----------
    .. [1] B. K. P. Horn, "Closed-form solution of absolute orientation using unit
       quaternions", J. Opt. Soc. Am. A 4(4), 629-642, 1987; here in the plane.
    .. [2] S. Umeyama, "Least-squares estimation of transformation parameters
       between two point patterns", IEEE Trans. PAMI 13(4), 376-380, 1991, without
       its scale.
    """
    plan = np.asarray(planned, dtype=np.float64)
    built = np.asarray(measured, dtype=np.float64)
    if plan.shape != built.shape or plan.ndim != 3 or plan.shape[2] != 2:
        raise ValueError("planned and measured must both be (n_groups, n_rods, 2)")
    there = np.logical_and.reduce(np.isfinite(plan), axis=2)
    used = there & np.logical_and.reduce(np.isfinite(built), axis=2)
    weight = _check_weights(weights, used)
    heavy = weight.sum(axis=1)
    share = weight / np.where(heavy > 0.0, heavy, 1.0)[:, None]
    plan_known = np.where(there[:, :, None], plan, 0.0)
    built_known = np.where(used[:, :, None], built, 0.0)
    centre = _weighted_centroids(
        there / np.maximum(there.sum(axis=1), 1)[:, None], plan_known
    )
    plan_middle, built_middle = (
        _weighted_centroids(share, plan_known),
        _weighted_centroids(share, built_known),
    )
    p = (plan_known - plan_middle[:, None]) * np.sqrt(share)[:, :, None]
    m = (built_known - built_middle[:, None]) * np.sqrt(share)[:, :, None]
    turn, turned = _best_rotation(p, m)

    cos, sin = np.cos(turn), np.sin(turn)
    shift = built_middle - centre + _rotate(centre - plan_middle, cos, sin)
    fitted = (centre + shift)[:, None] + _rotate(
        plan_known - centre[:, None], cos[:, None], sin[:, None]
    )
    unmeasured = heavy == 0.0
    turn = np.where(unmeasured, np.nan, turn)
    shift = np.where(unmeasured[:, None], np.nan, shift)
    known = used & ~unmeasured[:, None]
    outcome = np.where(
        turned, RigidFitOutcome.FITTED.value, RigidFitOutcome.SHIFT_ONLY.value
    )
    return RigidFit(
        rotation_rad=turn,
        shift_mm=shift,
        residuals_mm=np.where(known[:, :, None], built_known - fitted, np.nan),
        outcome=np.where(unmeasured, RigidFitOutcome.UNMEASURED.value, outcome),
    )


def _check_weights(weights: npt.ArrayLike | None, used: BoolArray) -> FloatArray:
    if weights is None:
        return used.astype(np.float64)
    weight = np.asarray(weights, dtype=np.float64)
    if weight.shape != used.shape:
        raise ValueError("weights must be (n_groups, n_rods)")
    if np.any(weight < 0.0):
        raise ValueError("a weight is negative")
    return np.where(used, weight, 0.0)


def _weighted_centroids(share: FloatArray, points: FloatArray) -> FloatArray:
    """Compute weighted centroids, from each group's first point.

    Plan coordinates may be in the millions: summed as they are, they would lose the
    digits that the fit is about.
    """
    first = points[:, :1]
    middle = np.einsum("gn,gnk->gk", share, points - first) + first[:, 0]
    return np.asarray(middle, dtype=np.float64)


def _best_rotation(p: FloatArray, m: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Return the rotation of each group, and which groups determine one."""
    along = np.sum(p * m, axis=(1, 2))
    across = np.sum(p[:, :, 0] * m[:, :, 1] - p[:, :, 1] * m[:, :, 0], axis=1)
    plan_spread = np.sqrt(np.sum(p**2, axis=(1, 2)))
    built_spread = np.sqrt(np.sum(m**2, axis=(1, 2)))
    apart = (plan_spread > MIN_SPREAD_MM) & (built_spread > MIN_SPREAD_MM)
    told = np.hypot(along, across) > 1e-12 * plan_spread * built_spread
    turned = apart & told
    return np.where(turned, np.arctan2(across, along), 0.0), turned


def _rotate(points: FloatArray, cos: FloatArray, sin: FloatArray) -> FloatArray:
    x, y = points[..., 0], points[..., 1]
    return np.stack([cos * x - sin * y, sin * x + cos * y], axis=-1)


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
    most = 2.0 * asin(min(1.0, limit_mm / (2.0 * radius))) if radius > 0.0 else pi
    begun = [_minimise_from(holes_mm, rods_mm, clearance_mm, (limit_mm, most), at)
             for at in (-most, 0.0, most)]  # fmt: skip
    return min(begun, key=lambda each: each.interference_mm)


def _largest_radius(holes_mm: FloatArray) -> float:
    arm = holes_mm - holes_mm.mean(axis=0)
    return float(np.hypot(arm[:, 0], arm[:, 1]).max())


def _minimise_from(
    holes: FloatArray,
    rods: FloatArray,
    clearance: FloatArray,
    limits: tuple[float, float],
    turn: float,
) -> BoundedPlacement:
    """Minimise the interference from one rotation, within the limits. [mm], [rad]"""
    from scipy.optimize import minimize

    move, most = limits
    start = _placement_at(holes, rods, clearance, np.zeros(2), turn)
    size = max(move, float(np.abs(start.gap_mm).max()), 1.0)
    share = most if most > 0.0 else 1.0

    def room(x: FloatArray) -> FloatArray:
        gap = _placement_at(holes, rods, clearance, size * x[:2], share * x[2]).gap_mm
        reach = x[3] + clearance / size
        return np.concatenate(
            (
                reach**2 - (gap[:, 0] ** 2 + gap[:, 1] ** 2) / size**2,
                reach,
                move / size - x[:2],
                move / size + x[:2],
                [most / share - x[2], most / share + x[2]],
            )
        )

    found = minimize(
        lambda x: x[3],
        np.array([0.0, 0.0, turn / share, start.interference_mm / size]),
        method="SLSQP",
        constraints={"type": "ineq", "fun": room},
        options={"ftol": 1e-12, "maxiter": 200},
    )
    shift = np.clip(size * found.x[:2], -move, move)
    best = _placement_at(
        holes, rods, clearance, shift, float(np.clip(share * found.x[2], -most, most))
    )
    return min(best, start, key=lambda each: each.interference_mm)


def _placement_at(
    holes: FloatArray,
    rods: FloatArray,
    clearance: FloatArray,
    shift: FloatArray,
    turn: float,
) -> BoundedPlacement:
    """Compute a plate's interference at a placement. [mm], [rad]"""
    centre = holes.mean(axis=0)
    back = _rotate(rods - centre - shift, np.cos(-turn), np.sin(-turn))
    gap = back - (holes - centre)
    over = np.hypot(gap[:, 0], gap[:, 1]) - clearance
    return BoundedPlacement(
        interference_mm=float(over.max()), shift_mm=shift, rotation_rad=turn, gap_mm=gap
    )
