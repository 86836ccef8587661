r"""The shape as built, adjusted to the taped walls and diagonals.

    D ----------- C     all lengths are taken corner to corner on the steel line;
    |  \       /  |     each is one reading of the outline's 2 n - 3 unknowns, and
    |     \ /     |     those beyond that number check the others
    |     / \     |
    |  /       \  |
    A ----------- B

Least squares on the corners (`distance_network`, no point held). The result lies on
the plan by the rigid best fit: nobody knows which corner is right, so the error is
shared among all.

The skew is the shear of the best affine fit M of the outline to the plan: with e the
direction of the first wall and n square to it, inward,

    skew = asin((M e . M n) / (|M e| |M n|))

positive where the corner angle at the first wall's start is less than on the plan. For
a parallelogram built where a rectangle was planned, of sides a, b and diagonals p
(first corner to third) and q, it is asin((p**2 - q**2) / (4 a b)), because p = u + v
and q = v - u with the sides as vectors u, v.
"""

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.distance_network import (
    MIN_SINGULAR_VALUE,
    AdjustmentOutcome,
    adjust_distances,
    distance_jacobian,
    rigid_motions,
)
from checks.engine.errors import DegenerateGeometryError

CLEAR_CORNER_SINE = 0.02
"""Sine of a corner's angle beyond which the corner must not come out folded over."""

MIN_MOTION_SEEN = 0.05
"""Share of a missing motion that a proposed reading should see, if one can. [1]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineAdjustments:
    """Adjustments of b outlines of n corners and m readings.

    All numbers are NaN for an outline whose outcome is not `adjusted`. Those of a
    reading not taken are NaN, and so is `w` where no other reading checks that one.
    """

    outcome: npt.NDArray[np.str_]  # (b,) values of AdjustmentOutcome
    corners_mm: FloatArray  # (b, n, 2) on the plan's axes
    offsets_mm: FloatArray  # (b, n, 2) corners less plan
    sigma_mm: FloatArray  # (b, n, 2) of the corners, from the readings' own
    residuals_mm: FloatArray  # (b, m) adjusted less read
    reference_variance: FloatArray  # (b,) NaN at no degree of freedom
    degrees_of_freedom: IntArray  # (b,)
    redundancy: FloatArray  # (b, m)
    w: FloatArray  # (b, m)
    suspect: BoolArray  # (b, m) |w| too large, where the reading can be named
    inseparable: BoolArray  # (b, m) readings that share the largest |w|
    cannot_tell: BoolArray  # (b,) |w| too large, and shared
    common: FloatArray  # (b, k) estimated common errors, of unit variance before
    common_redundancy: FloatArray  # (b, k)
    common_w: FloatArray  # (b, k) NaN where the lengths say nothing of the error
    common_suspect: BoolArray  # (b, k) too large: tapes differ beyond their classes
    skew_rad: FloatArray  # (b,)


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineAdjustment:
    """Adjustment of one outline; members as in `OutlineAdjustments`, without b."""

    determined: bool
    outcome: AdjustmentOutcome
    missing: IntArray  # (k, 2) pairs of corners whose distances would determine it
    corners_mm: FloatArray
    offsets_mm: FloatArray
    sigma_mm: FloatArray
    residuals_mm: FloatArray
    reference_variance: float
    degrees_of_freedom: int
    redundancy: FloatArray
    w: FloatArray
    suspect: BoolArray
    inseparable: BoolArray
    cannot_tell: bool
    common: FloatArray
    common_redundancy: FloatArray
    common_w: FloatArray
    common_suspect: BoolArray
    skew_rad: float


def adjust_outline(
    plan_mm: npt.ArrayLike,
    pairs: npt.ArrayLike,
    lengths_mm: npt.ArrayLike,
    sigma_mm: npt.ArrayLike,
    diagonals: npt.ArrayLike = (),
    common_mm: npt.ArrayLike | None = None,
) -> OutlineAdjustment:
    """Adjust one outline to its measured walls and diagonals.

    Minimises sum((read - distance)**2 / sigma**2) by Gauss-Newton to 1e-9 mm;
    redundancy and w as Baarda defines them [1]_, tested as in `outlier_tests`. With one
    redundant reading all |w| are equal, and likewise wherever the residuals of the
    readings with the largest |w| are fully correlated. Then `cannot_tell` is set (if
    they are suspect at all), `suspect` names none, and `inseparable` holds the group.
    What the readings of a tape or a day have in common is estimated beside the corners.

    Parameters
    ----------
    plan_mm : array, shape (n, 2)
        Planned corners in order, three or more. [mm]
    pairs : array of int, shape (m, 2)
        The two corners of each reading; a pair may occur more than once. [1]
    lengths_mm : array, shape (m,)
        Readings. NaN: not taken. [mm]
    sigma_mm : array, shape (m,) or scalar
        Their standard uncertainties; with common errors the part that is each
        reading's own. [mm]
    diagonals : array of int, shape (d, 2)
        Diagonals the plan asks for, preferred to others in `missing`. [1]
    common_mm : array, shape (m, k), optional
        Loadings of the readings on k common errors, each of unit variance. [mm]

    Returns
    -------
    OutlineAdjustment
        `determined` is True where the outline could be adjusted. Otherwise `outcome`
        says why not and `missing` which readings would help: walls first, then
        `diagonals`, then any other pair, each only if it adds something. [mm]

    Raises
    ------
    DegenerateGeometryError
        If corners of the plan coincide or all lie on one line.
    ValueError
        If a pair names no two corners or a sigma is not positive.

    References
    ----------
    .. [1] W. Baarda, *A testing procedure for use in geodetic networks*, Netherlands
       Geodetic Commission, Publications on Geodesy 2(5), 1968.
    """
    plan = np.asarray(plan_mm, dtype=np.float64)
    pair = np.asarray(pairs, dtype=np.intp).reshape(-1, 2)
    lengths = np.asarray(lengths_mm, dtype=np.float64).reshape(-1)
    sigma = np.broadcast_to(np.asarray(sigma_mm, dtype=np.float64), lengths.shape)
    many = adjust_outlines(plan[None], pair, lengths[None], sigma[None], common_mm)
    outcome = AdjustmentOutcome(str(many.outcome[0]))
    missing = np.zeros((0, 2), dtype=np.intp)
    if outcome is AdjustmentOutcome.UNDETERMINED:
        listed = np.asarray(diagonals, dtype=np.intp).reshape(-1, 2)
        missing = _find_missing_pairs(plan, pair[~np.isnan(lengths)], listed)
    return OutlineAdjustment(
        determined=outcome is AdjustmentOutcome.ADJUSTED,
        outcome=outcome,
        missing=missing,
        corners_mm=many.corners_mm[0],
        offsets_mm=many.offsets_mm[0],
        sigma_mm=many.sigma_mm[0],
        residuals_mm=many.residuals_mm[0],
        reference_variance=float(many.reference_variance[0]),
        degrees_of_freedom=int(many.degrees_of_freedom[0]),
        redundancy=many.redundancy[0],
        w=many.w[0],
        suspect=many.suspect[0],
        inseparable=many.inseparable[0],
        cannot_tell=bool(many.cannot_tell[0]),
        common=many.common[0],
        common_redundancy=many.common_redundancy[0],
        common_w=many.common_w[0],
        common_suspect=many.common_suspect[0],
        skew_rad=float(many.skew_rad[0]),
    )


def empty_adjustment(corners: int, readings: int, errors: int = 0) -> OutlineAdjustment:
    """Return the undetermined adjustment of an outline that cannot be adjusted.

    Parameters
    ----------
    corners, readings, errors : int
        Number of each; errors that readings have in common. [1]

    Returns
    -------
    OutlineAdjustment
        Not determined, with no missing reading that would help. [mm]
    """
    nan = float("nan")
    points, values = np.full((corners, 2), nan), np.full(readings, nan)
    no = np.zeros(readings, dtype=np.bool_)
    return OutlineAdjustment(
        determined=False,
        outcome=AdjustmentOutcome.UNDETERMINED,
        missing=np.zeros((0, 2), dtype=np.intp),
        corners_mm=points,
        offsets_mm=points,
        sigma_mm=points,
        residuals_mm=values,
        reference_variance=nan,
        degrees_of_freedom=readings - (2 * corners - 3),
        redundancy=values,
        w=values,
        suspect=no,
        inseparable=no,
        cannot_tell=False,
        common=np.full(errors, nan),
        common_redundancy=np.full(errors, nan),
        common_w=np.full(errors, nan),
        common_suspect=np.zeros(errors, dtype=np.bool_),
        skew_rad=nan,
    )


def adjust_outlines(
    plans_mm: npt.ArrayLike,
    pairs: npt.ArrayLike,
    lengths_mm: npt.ArrayLike,
    sigma_mm: npt.ArrayLike,
    common_mm: npt.ArrayLike | None = None,
) -> OutlineAdjustments:
    """Adjust many outlines that have their corners and readings in the same order.

    As `adjust_outline`, in one pass; a reading that one of them lacks is NaN there.

    Parameters
    ----------
    plans_mm : array, shape (b, n, 2)
        Planned corners. [mm]
    pairs : array of int, shape (m, 2)
        The two corners of each reading, the same for all. [1]
    lengths_mm : array, shape (b, m)
        Readings. NaN: not taken. [mm]
    sigma_mm : array, shape (b, m) or broadcast to it
        Their standard uncertainties, without common errors. [mm]
    common_mm : array, shape (b, m, k) or (m, k), optional
        Loadings of the readings on k common errors, each of unit variance. [mm]

    Returns
    -------
    OutlineAdjustments
        Adjusted corners and statistics. [mm]

    Raises
    ------
    DegenerateGeometryError
        If corners of a plan coincide or all lie on one line.
    ValueError
        If shapes do not agree, a pair names no two corners or a sigma is not
        positive.
    """
    plans = np.asarray(plans_mm, dtype=np.float64)
    centred, moments = reduce_to_centroid(plans)
    reject_degenerate_plans(plans, moments)
    net = adjust_distances(plans, pairs, lengths_mm, sigma_mm, common_mm=common_mm)
    lost = net.outcome != AdjustmentOutcome.ADJUSTED.value
    folded = _find_folded(plans, net.points_mm) & ~lost
    corners = _orient_to_plan(plans, centred, net.points_mm)
    offsets = corners - plans
    variances = np.diagonal(net.covariance_mm2, axis1=1, axis2=2).reshape(plans.shape)
    adjustment = OutlineAdjustments(
        outcome=net.outcome,
        corners_mm=corners,
        offsets_mm=offsets,
        sigma_mm=np.sqrt(np.maximum(variances, 0.0)),
        residuals_mm=net.residuals_mm,
        reference_variance=net.reference_variance,
        degrees_of_freedom=net.degrees_of_freedom,
        redundancy=net.redundancy,
        w=net.w,
        suspect=net.suspect,
        inseparable=net.inseparable,
        cannot_tell=net.cannot_tell,
        common=net.common,
        common_redundancy=net.common_redundancy,
        common_w=net.common_w,
        common_suspect=net.common_suspect,
        skew_rad=_affine_skew(centred, moments, corners),
    )
    return _discard_folded(adjustment, folded) if folded.any() else adjustment


def _orient_to_plan(
    plans: FloatArray, centred: FloatArray, points: FloatArray
) -> FloatArray:
    """Orient outlines to their plans by the rigid best fit.

    Adjusted without a held point, an outline has kept the plan's centroid, and
    sum(p x d) = 0 with p the plan about it and d the movement of the points. Of the
    fit's rotation, atan2(sum(p x q), sum(p . q)) with q = p + d, the sine is therefore
    already 0. Only the cosine can be negative, and then the outline is upside down.
    """
    middle = plans - centred
    along = (centred * (points - middle)).sum(axis=(1, 2))
    if not (along < 0.0).any():
        return points
    return np.where((along < 0.0)[:, None, None], 2.0 * middle - points, points)


def _discard_folded(
    adjustment: OutlineAdjustments, folded: BoolArray
) -> OutlineAdjustments:
    """Discard the results of outlines with a corner folded over."""
    blanked: dict[str, npt.NDArray[Any]] = {}
    for member in fields(adjustment):
        value = getattr(adjustment, member.name)
        over = folded.reshape(-1, *[1] * (value.ndim - 1))
        if value.dtype.kind == "f":
            blanked[member.name] = np.where(over, np.nan, value)
        elif value.dtype.kind == "b":
            blanked[member.name] = value & ~over
    outcome = np.where(folded, AdjustmentOutcome.FOLDED.value, adjustment.outcome)
    return replace(adjustment, outcome=outcome, **blanked)


def reduce_to_centroid(plans: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return corners about their centroid, and sums of x x, x y and y y, (3, b)."""
    if plans.ndim != 3 or plans.shape[1] < 3 or plans.shape[2] != 2:
        raise DegenerateGeometryError("an outline needs at least three corners")
    p = plans - plans.sum(axis=1, keepdims=True) / plans.shape[1]
    both = p.transpose(0, 2, 1) @ p
    return p, both.reshape(len(p), 4)[:, [0, 1, 3]].T


def reject_degenerate_plans(plans: FloatArray, moments: FloatArray) -> None:
    """Raise if corners of a plan (b, n, 2) lie on one line or coincide. [mm]"""
    xx, xy, yy = moments
    spread = xx + yy
    if (xx * yy - xy * xy <= 1e-12 * spread**2).any():
        raise DegenerateGeometryError("the corners of the outline lie on one line")
    walls = plans[:, 1 - np.arange(plans.shape[1], 0, -1)] - plans
    if ((walls * walls).sum(axis=2) <= 1e-18 * spread[:, None]).any():
        raise DegenerateGeometryError(
            "two neighbouring corners of the outline coincide"
        )


def _find_folded(plans: FloatArray, points: FloatArray) -> BoolArray:
    """Find outlines with a corner that clearly bends the other way on the plan."""
    sine = _corner_sines(np.concatenate([plans, points]))
    planned, adjusted = sine[: len(plans)], sine[len(plans) :]
    over = (np.abs(planned) > CLEAR_CORNER_SINE) & (planned * adjusted <= 0.0)
    return np.asarray(over.any(axis=1))


def _corner_sines(points: FloatArray) -> FloatArray:
    """Compute the sine of the exterior angle at each corner, (b, n); NaN stays NaN."""
    corner = np.arange(points.shape[1])
    out = points[:, corner - points.shape[1] + 1] - points
    into = out[:, corner - 1]
    cross = into[..., 0] * out[..., 1] - into[..., 1] * out[..., 0]
    length = np.hypot(out[..., 0], out[..., 1])
    size = length * length[:, corner - 1]
    return np.asarray(cross / np.where(size > 0.0, size, 1.0))


def _affine_skew(p: FloatArray, moments: FloatArray, corners: FloatArray) -> FloatArray:
    """Compute the shear of the best affine fit, M = sum(c p') (sum(p p'))^-1.

    e and n as in the module's docstring. M e and M n are taken without the determinant
    of that inverse and with the wall's own length in e and n: no angle depends on
    either.
    """
    xx, xy, yy = moments
    built = corners - corners[:, :1]  # small numbers keep their digits; sum(p) is 0
    mixed = built.transpose(0, 2, 1) @ p
    wall = p[:, 1] - p[:, 0]
    q = p[:, 1 - np.arange(p.shape[1], 0, -1)]
    area = (p[..., 0] * q[..., 1] - p[..., 1] * q[..., 0]).sum(axis=1)
    ways = np.empty((len(p), 2, 2))  # (p p')^-1 e and (p p')^-1 n in columns
    ways[:, 0, 0] = yy * wall[:, 0] - xy * wall[:, 1]
    ways[:, 1, 0] = xx * wall[:, 1] - xy * wall[:, 0]
    ways[:, 0, 1] = -yy * wall[:, 1] - xy * wall[:, 0]
    ways[:, 1, 1] = xx * wall[:, 0] + xy * wall[:, 1]
    mapped = mixed @ ways
    product = (mapped[..., 0] * mapped[..., 1]).sum(axis=1)
    size = np.sqrt((mapped**2).sum(axis=1).prod(axis=1))
    sine = np.sign(area) * product / size
    return np.asarray(np.arcsin(np.minimum(np.maximum(sine, -1.0), 1.0)))


def _find_missing_pairs(
    plan: FloatArray, measured: IntArray, listed: IntArray
) -> IntArray:
    """Find pairs that remove, one by one, every motion that no reading sees.

    The unseen motions span the null space of the rows of the measured distances and of
    the three rigid motions. A pair helps if its row is not square to that space.
    """
    n = len(plan)
    walls = np.stack([np.arange(n), (np.arange(n) + 1) % n], axis=1)
    others = np.stack(np.triu_indices(n, 1), axis=1)
    offered = np.concatenate([walls, listed, others])
    rows = np.concatenate([rigid_motions(plan), distance_jacobian(measured, plan)])
    _, sizes, basis = np.linalg.svd(rows, full_matrices=True)
    unseen = basis[np.count_nonzero(sizes > MIN_SINGULAR_VALUE) :]
    sees = distance_jacobian(offered, plan)
    chosen = []
    while len(unseen):
        seen = sees @ unseen.T
        amount = np.linalg.norm(seen, axis=1)
        # The first sufficient pair, not the best: walls come before diagonals.
        enough = np.flatnonzero(amount > MIN_MOTION_SEEN)
        best = int(enough[0]) if enough.size else int(amount.argmax())
        chosen.append(offered[best])
        rest, _ = np.linalg.qr(seen[best][:, None], mode="complete")
        unseen = rest[:, 1:].T @ unseen
    return np.array(chosen, dtype=np.intp).reshape(-1, 2)
