"""Rigid fit: the rotation and shift that best carry planned rods onto measured ones.

    fitted = centroid + shift + R(rotation) (planned - centroid)

with the centroid that of the planned points, so that the shift is how far the middle
of the group is out, whatever the rotation. No scale is fitted: steel has none.
"""

from dataclasses import dataclass
from enum import StrEnum

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
    outcome: npt.NDArray[np.str_]  # (n_groups,) values of RigidFitOutcome


def fit_rigid(
    planned: npt.ArrayLike,
    measured: npt.ArrayLike,
    weights: npt.ArrayLike | None = None,
    real: npt.ArrayLike | None = None,
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
        Weight of each rod; equal weights by default. A rod of weight 0 takes no part
        in the fit but still has a residual, and is one of the group's planned rods:
        the shift refers to their centroid. [1/mm²]
    real : array of bool, shape (n_groups, n_rods), optional
        False where a slot only pads a group of fewer rods, whatever stands in it: it
        is no rod of the group, and its residual is NaN. By default all that are
        planned.

    Returns
    -------
    RigidFit
        Rotation, shift, residuals and outcome by group. [rad, mm]

    Raises
    ------
    ValueError
        If the shapes do not agree, a weight is negative, or a mask is passed as
        weights.

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
    if real is not None:
        there = there & np.asarray(real, dtype=np.bool_)
    used = there & np.logical_and.reduce(np.isfinite(built), axis=2)
    weight = _check_weights(weights, used)
    heavy = weight.sum(axis=1)
    share = weight / np.where(heavy > 0.0, heavy, 1.0)[:, None]
    plan_known = np.where(there[:, :, None], plan, 0.0)
    built_known = np.where(used[:, :, None], built, 0.0)
    centre = _weighted_centroids(
        there / np.maximum(there.sum(axis=1), 1)[:, None], plan_known
    )
    plan_middle = _weighted_centroids(share, plan_known)
    built_middle = _weighted_centroids(share, built_known)
    p = (plan_known - plan_middle[:, None]) * np.sqrt(share)[:, :, None]
    m = (built_known - built_middle[:, None]) * np.sqrt(share)[:, :, None]
    rotation, has_rotation = _best_rotation(p, m)

    # The shift refers to the centroid of all planned rods, not of those measured: a
    # rod left out must not move the point that the shift is given for.
    cos, sin = np.cos(rotation), np.sin(rotation)
    shift = built_middle - centre + rotate_rows(centre - plan_middle, cos, sin)
    fitted = (centre + shift)[:, None] + rotate_rows(
        plan_known - centre[:, None], cos[:, None], sin[:, None]
    )
    unmeasured = heavy == 0.0
    rotation = np.where(unmeasured, np.nan, rotation)
    shift = np.where(unmeasured[:, None], np.nan, shift)
    known = used & ~unmeasured[:, None]
    outcome = np.where(
        has_rotation, RigidFitOutcome.FITTED.value, RigidFitOutcome.SHIFT_ONLY.value
    )
    return RigidFit(
        rotation_rad=rotation,
        shift_mm=shift,
        residuals_mm=np.where(known[:, :, None], built_known - fitted, np.nan),
        outcome=np.where(unmeasured, RigidFitOutcome.UNMEASURED.value, outcome),
    )


def _check_weights(weights: npt.ArrayLike | None, used: BoolArray) -> FloatArray:
    if weights is None:
        return used.astype(np.float64)
    if np.asarray(weights).dtype == np.bool_:
        # A padded slot of weight 0 would count in the planned centroid.
        raise ValueError("weights are numbers; a mask of the real rods is `real`")
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
    determined = np.hypot(along, across) > 1e-12 * plan_spread * built_spread
    has_rotation = apart & determined
    return np.where(has_rotation, np.arctan2(across, along), 0.0), has_rotation


def rotate_rows(points: FloatArray, cos: FloatArray, sin: FloatArray) -> FloatArray:
    """Rotate points (..., 2) counter-clockwise by angles of this cosine and sine.

    Parameters
    ----------
    points : array, shape (..., 2)
        [mm]
    cos, sin : array
        Broadcast against the leading axes of `points`. [1]
    """
    x, y = points[..., 0], points[..., 1]
    return np.stack([cos * x - sin * y, sin * x + cos * y], axis=-1)
