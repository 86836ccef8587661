"""Least-squares adjustment of points connected by measured distances.

    distance_ij = |x_j - x_i|,   minimise sum((measured - distance)**2 / sigma**2)

Gauss-Newton on the normal equations, for many networks of one pattern at once, after
reduction to the centroid. A network without a held point can still shift and rotate.
These three rigid motions G (two shifts and a rotation, orthonormal) are removed by
solving with N + c G G' in the place of N, which is regular and leaves every residual
unchanged because the distances do not depend on G. With one point held only the
rotation about it remains, with two or more nothing.

Statistics as in W. Baarda, *A testing procedure for use in geodetic networks*,
Netherlands Geodetic Commission, 1968: redundancy r_i = 1 - h_ii with h the weighted
hat matrix, w_i = v_i / (sigma_i sqrt(r_i)), v = adjusted - measured; the tests stand in
`outlier_tests`. Errors that several distances have in common are unknowns of their own
(see `network_model`), and v is then the part that belongs to the distance alone.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.network_model import (
    NetworkModel,
    build_incidence,
    build_jacobian,
    build_model,
    build_normal_equations,
    check_pairs,
    find_unseen_motions,
)
from checks.engine.outlier_tests import find_inseparable, find_large_residuals

CONVERGED_MM = 1e-9
"""Gauss-Newton stops when no coordinate moves by more, plus eight of its last bits."""

MIN_SINGULAR_VALUE = 1e-4
"""Least singular value of a determined network, with rows of unit length. [1]"""

MIN_REDUNDANCY = 1e-7
"""Redundancy below which no other reading checks this one. [1]"""

MIN_COMMON_REDUNDANCY = 0.1
"""Redundancy below which an adjustment cannot blame a common error: one tape's scale
has none, as distances alone do not fix a size. Project choice. [1]"""

STEADY_STEP_RATIO = 0.1
"""Ratio of successive steps below which Gauss-Newton is near its end. [1]"""

MAX_STEPS = 60


class AdjustmentOutcome(StrEnum):
    """Outcome of an adjustment."""

    ADJUSTED = "adjusted"
    UNDETERMINED = "undetermined"  # too few readings, or in the wrong places
    NOT_CONVERGED = "not_converged"  # the readings fit nothing near the plan
    FOLDED = "folded"  # the readings fit only with a corner inside out


# The first three are indexed by progress: determined (0 or 1) plus converged (0 or 1).
_OUTCOME_VALUES = np.array(
    [
        AdjustmentOutcome.UNDETERMINED.value,
        AdjustmentOutcome.NOT_CONVERGED.value,
        AdjustmentOutcome.ADJUSTED.value,
        AdjustmentOutcome.FOLDED.value,  # set by `outline` only
    ]
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NetworkAdjustment:
    """Points from distances, for b networks of n points and m distances.

    Everything is NaN for a network whose outcome is not `adjusted`. The values of a
    distance not measured are NaN, and so is `w` where `redundancy` is 0: no other
    distance checks that one.
    """

    outcome: npt.NDArray[np.str_]  # (b,) values of AdjustmentOutcome
    points_mm: FloatArray  # (b, n, 2)
    covariance_mm2: FloatArray  # (b, 2 n, 2 n) x, y of each point in turn, sigma0 = 1
    residuals_mm: FloatArray  # (b, m) adjusted less measured
    reference_variance: FloatArray  # (b,) NaN without redundancy
    degrees_of_freedom: IntArray  # (b,) negative: so many readings are missing
    redundancy: FloatArray  # (b, m)
    w: FloatArray  # (b, m)
    suspect: BoolArray  # (b, m)
    inseparable: BoolArray  # (b, m) the readings that share the largest |w|
    cannot_tell: BoolArray  # (b,) one of the inseparable is suspect
    common: FloatArray  # (b, k) estimated common errors, of unit variance before
    common_redundancy: FloatArray  # (b, k)
    common_w: FloatArray  # (b, k)
    common_suspect: BoolArray  # (b, k) larger than any reading's, and too large


def adjust_distances(
    start_mm: npt.ArrayLike,
    pairs: npt.ArrayLike,
    lengths_mm: npt.ArrayLike,
    sigma_mm: npt.ArrayLike,
    held: npt.ArrayLike | None = None,
    common_mm: npt.ArrayLike | None = None,
) -> NetworkAdjustment:
    """Adjust networks of one pattern to their measured distances.

    Parameters
    ----------
    start_mm : array, shape (b, n, 2)
        Approximate points; held points stay there. [mm]
    pairs : array of int, shape (m, 2)
        The two points of each distance, the same for all networks. [1]
    lengths_mm : array, shape (b, m)
        Distances. NaN: not measured. [mm]
    sigma_mm : array, shape (b, m) or broadcast to it
        Their standard uncertainties; with common errors the part that is each
        distance's own. [mm]
    held : array of bool, shape (n,), optional
        Known points; none by default, and then the network keeps the centroid and the
        rotation of `start_mm` (inner constraints [1]_). [bool]
    common_mm : array, shape (b, m, k) or (m, k), optional
        Loadings of the distances on k common errors, each of unit variance. [mm]

    Returns
    -------
    NetworkAdjustment
        Points, residuals and statistics of each network. [mm]

    Raises
    ------
    ValueError
        If shapes do not agree, a pair names no two points, or a sigma is not
        positive.

    References
    ----------
    .. [1] P. Meissl, *Die innere Genauigkeit eines Punkthaufens*, 1962; see C. D.
       Ghilani, *Adjustment Computations*, chapters 14 (trilateration) and 21.
    """
    start = np.asarray(start_mm, dtype=np.float64)
    if start.ndim != 3 or start.shape[2] != 2:
        raise ValueError("points must be (networks, points, 2)")
    n = start.shape[1]
    fixed = np.zeros(n, dtype=np.bool_) if held is None else np.asarray(held, np.bool_)
    middle = start.sum(axis=1, keepdims=True) / n
    flat = (start - middle).reshape(len(start), -1)
    model = build_model(
        flat, check_pairs(pairs, n), lengths_mm, sigma_mm, fixed, common_mm
    )
    determined = _is_determined(model, flat)
    unknowns, converged = _gauss_newton(model, flat, determined)
    points = unknowns[:, : 2 * n].reshape(start.shape) + middle
    if fixed.any():
        points[:, fixed] = start[:, fixed]
    outcome = _OUTCOME_VALUES[determined.astype(np.intp) + converged]
    return _compute_statistics(model, unknowns, points, outcome, converged)


def distance_jacobian(pairs: npt.ArrayLike, points_mm: npt.ArrayLike) -> FloatArray:
    """Compute the derivatives of each distance by the points: rows of the Jacobian.

    Row of pair (i, j): the unit vector from i to j at j, its opposite at i.

    Parameters
    ----------
    pairs : array of int, shape (m, 2)
        The two points of each distance. [1]
    points_mm : array, shape (n, 2)
        The points. [mm]

    Returns
    -------
    array, shape (m, 2 n)
        x, y of each point in turn. [1]
    """
    points = np.asarray(points_mm, dtype=np.float64)
    incidence = build_incidence(np.asarray(pairs, dtype=np.intp), len(points))
    return np.asarray(build_jacobian(incidence, points.reshape(1, -1))[0][0])


def rigid_motions(points_mm: npt.ArrayLike) -> FloatArray:
    """Compute the rigid motions of a free network, orthonormal.

    No distance changes under them.

    Parameters
    ----------
    points_mm : array, shape (n, 2)
        The points. [mm]

    Returns
    -------
    array, shape (3, 2 n)
        Shift along x, shift along y, rotation about the centroid. [1]
    """
    points = np.asarray(points_mm, dtype=np.float64)
    flat = (points - points.mean(axis=0)).reshape(1, -1)
    return np.asarray(
        find_unseen_motions(flat, np.zeros(len(points), dtype=np.bool_))[0].T
    )


def _is_determined(model: NetworkModel, flat: FloatArray) -> BoolArray:
    """Check that the measured distances determine each network, weights ignored."""
    matrix, _ = build_jacobian(model.incidence, flat)
    seen = matrix * (model.weights > 0.0)[..., None]
    corners = model.n_coordinates
    motions = model.motions[:, :corners].transpose(0, 2, 1)
    seen = np.concatenate([seen, motions], axis=1)
    seen = seen[:, :, model.free[:corners] > 0.0]
    if seen.shape[1] < seen.shape[2]:
        return np.zeros(len(flat), dtype=np.bool_)
    if seen.shape[2] == 0:
        return np.ones(len(flat), dtype=np.bool_)
    return np.asarray(np.linalg.svd(seen, compute_uv=False)[:, -1] > MIN_SINGULAR_VALUE)


def _gauss_newton(
    model: NetworkModel, flat: FloatArray, determined: BoolArray
) -> tuple[FloatArray, BoolArray]:
    """Iterate until nothing moves; a converged network is not touched again.

    Returns the unknowns (b, 2 n + k) and which networks converged.

    Near the end each step is a steady fraction of the one before. The next step is
    therefore predicted from the worse of the last two fractions, and not taken where it
    would move nothing (the stopping rule of E. Hairer and G. Wanner, *Solving Ordinary
    Differential Equations II*, IV.8; from memory).
    """
    corners, shared = model.n_coordinates, model.common.shape[2]
    unknowns = np.concatenate([flat, np.zeros((len(flat), shared))], axis=1)
    converged = ~determined
    size = np.maximum(np.abs(flat).max(axis=1), 1.0)
    close = CONVERGED_MM + 8.0 * np.spacing(size)
    before, shares = np.zeros(len(flat)), np.ones(len(flat))
    for taken in range(MAX_STEPS):
        if converged.all():
            break
        # While all are active a slice selects them: unlike an index, it copies nothing.
        going = np.flatnonzero(~converged) if converged.any() else slice(None)
        matrix, distance, normal = build_normal_equations(model, unknowns, going)
        short = (model.lengths[going] - distance) * model.weights[going]
        if shared:
            errors = unknowns[going][:, corners:, None]
            short -= (model.common[going] @ errors)[..., 0]
        right = matrix.transpose(0, 2, 1) @ short[..., None]
        if shared:
            right[:, corners:] -= errors  # the pseudo-readings, 0
        step = np.linalg.solve(normal, right)[..., 0]
        longest = np.abs(step).max(axis=1)
        too_long = longest > size[going]
        if too_long.any():
            step *= np.where(too_long, size[going] / longest, 1.0)[:, None]
        unknowns[going] += step
        left = longest
        if taken:
            share = longest / before[going]  # never of 0: that has converged
            worse = np.maximum(share, shares[going])
            left = np.where(worse < STEADY_STEP_RATIO, 4.0 * worse, 1.0) * longest
            shares[going] = share
        before[going] = longest
        converged[going] = left <= close[going]
    return unknowns, converged & determined


def _compute_statistics(
    model: NetworkModel,
    unknowns: FloatArray,
    points: FloatArray,
    outcome: npt.NDArray[np.str_],
    good: BoolArray,
) -> NetworkAdjustment:
    lost = ~good
    matrix, distance, normal = build_normal_equations(model, unknowns, slice(None))
    if lost.any():
        normal[lost] = np.eye(normal.shape[1])
    inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    through = matrix @ inverse  # (b, m, 2 n); times the matrix again, the hat

    measured = model.weights > 0.0
    corners = model.n_coordinates
    # A common error is an unknown and a pseudo-reading: it leaves the freedom as it is.
    freedom = measured.sum(axis=1) - (
        np.count_nonzero(model.free[:corners]) - model.motions.shape[2]
    )
    redundancy = np.maximum(1.0 - np.einsum("bmk,bmk->bm", through, matrix), 0.0)
    errors = unknowns[:, corners:]
    scaled = (distance - model.lengths) * model.weights
    off = distance - model.lengths
    if errors.shape[1]:
        scaled += (model.common @ errors[..., None])[..., 0]
        off = scaled / np.where(measured, model.weights, 1.0)
    omega = (scaled * scaled).sum(axis=1) + (errors * errors).sum(axis=1)
    checked = measured & (redundancy > MIN_REDUNDANCY)
    w = scaled / np.sqrt(np.where(checked, redundancy, 1.0))
    size = np.where(checked, np.abs(w), -1.0)
    shared = find_inseparable(matrix, through, redundancy, size)
    tests = checked.sum(axis=1)
    large = find_large_residuals(size, omega, freedom, tests) & good[:, None]
    cannot_tell = np.asarray((large & shared).any(axis=1))
    common = _test_common_errors(errors, inverse[:, corners:, corners:], size)
    blamed = common.blamed & (freedom > 1)[:, None] & good[:, None]
    blamed &= find_large_residuals(common.size, omega, freedom, tests)
    named = large & ~cannot_tell[:, None] & ~blamed.any(axis=1)[:, None]
    variance = omega / np.where(freedom > 0, freedom, 1)
    unread = lost[:, None] | ~measured
    return NetworkAdjustment(
        outcome=outcome,
        points_mm=_blank_where(points, lost),
        covariance_mm2=_blank_where(_covariance(model, inverse), lost),
        residuals_mm=_blank_where(off, unread),
        reference_variance=_blank_where(variance, lost | (freedom <= 0)),
        degrees_of_freedom=freedom,
        redundancy=_blank_where(redundancy, unread),
        w=_blank_where(w, unread | ~checked),
        suspect=named,
        inseparable=shared & good[:, None],
        cannot_tell=cannot_tell,
        common=_blank_where(errors.copy(), lost),
        common_redundancy=_blank_where(common.redundancy, lost),
        common_w=_blank_where(common.w, lost),
        common_suspect=blamed,
    )


@dataclass(frozen=True, slots=True)
class _CommonErrorTests:
    """The pseudo-readings of common errors, (b, k) each."""

    redundancy: FloatArray
    w: FloatArray  # NaN where the distances say nothing of the error
    size: FloatArray  # |w|, negative where it is NaN
    blamed: BoolArray  # larger than the |w| of every distance


def _test_common_errors(
    errors: FloatArray, cofactors: FloatArray, size: FloatArray
) -> _CommonErrorTests:
    """Compute w of the pseudo-readings; `cofactors` (b, k, k), `size` (b, m) |w|."""
    each = np.arange(errors.shape[1])
    redundancy = np.maximum(1.0 - cofactors[:, each, each], 0.0)
    usable = redundancy > MIN_COMMON_REDUNDANCY
    w = np.where(usable, errors, np.nan) / np.sqrt(np.where(usable, redundancy, 1.0))
    large = np.where(usable, np.abs(w), -1.0)
    blamed = usable & (large > size.max(axis=1, initial=0.0)[:, None])
    return _CommonErrorTests(redundancy, w, large, blamed)


def _blank_where(value: FloatArray, where: BoolArray) -> FloatArray:
    """Write NaN in place where `where` is true; the array must not be shared."""
    value[where] = np.nan
    return value


def _covariance(model: NetworkModel, inverse: FloatArray) -> FloatArray:
    """Compute the cofactors of the coordinates, without the rigid motions."""
    corners = model.n_coordinates
    motions, inverse = model.motions[:, :corners], inverse[:, :corners, :corners]
    if motions.shape[2]:
        still = np.eye(motions.shape[1]) - motions @ motions.transpose(0, 2, 1)
        inverse = still @ inverse @ still
    free = model.free[:corners]
    return np.asarray(inverse * (free[:, None] * free))
