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
hat matrix, w_i = v_i / (sigma_i sqrt(r_i)), v = adjusted - measured.
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

CRITICAL_W = 3.29
"""|w| beyond which a reading is suspect: two-sided at 0.001, as Baarda takes it."""

CONVERGED_MM = 1e-9
"""Gauss-Newton stops when no coordinate moves by more, plus eight of its last bits."""

MIN_SINGULAR_VALUE = 1e-4
"""Least singular value of a determined network, with rows of unit length. [1]"""

MIN_REDUNDANCY = 1e-7
"""Redundancy below which no other reading checks this one. [1]"""

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


def adjust_distances(
    start_mm: npt.ArrayLike,
    pairs: npt.ArrayLike,
    lengths_mm: npt.ArrayLike,
    sigma_mm: npt.ArrayLike,
    held: npt.ArrayLike | None = None,
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
        Their standard uncertainties. [mm]
    held : array of bool, shape (n,), optional
        Known points; none by default, and then the network keeps the centroid and the
        rotation of `start_mm` (inner constraints [1]_). [bool]

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
    model = build_model(flat, check_pairs(pairs, n), lengths_mm, sigma_mm, fixed)
    determined = _is_determined(model, flat)
    coordinates, converged = _gauss_newton(model, flat, determined)
    points = coordinates.reshape(start.shape) + middle
    if fixed.any():
        points[:, fixed] = start[:, fixed]
    outcome = _OUTCOME_VALUES[determined.astype(np.intp) + converged]
    return _compute_statistics(model, coordinates, points, outcome, converged)


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
    seen = np.concatenate([seen, model.motions.transpose(0, 2, 1)], axis=1)
    seen = seen[:, :, model.free > 0.0]
    if seen.shape[1] < seen.shape[2]:
        return np.zeros(len(flat), dtype=np.bool_)
    if seen.shape[2] == 0:
        return np.ones(len(flat), dtype=np.bool_)
    return np.asarray(np.linalg.svd(seen, compute_uv=False)[:, -1] > MIN_SINGULAR_VALUE)


def _gauss_newton(
    model: NetworkModel, flat: FloatArray, determined: BoolArray
) -> tuple[FloatArray, BoolArray]:
    """Iterate until nothing moves; a converged network is not touched again.

    Near the end each step is a steady fraction of the one before. The next step is
    therefore predicted from the worse of the last two fractions, and not taken where it
    would move nothing (the stopping rule of E. Hairer and G. Wanner, *Solving Ordinary
    Differential Equations II*, IV.8; from memory).
    """
    coordinates = flat.copy()
    converged = ~determined
    size = np.maximum(np.abs(flat).max(axis=1), 1.0)
    close = CONVERGED_MM + 8.0 * np.spacing(size)
    before, shares = np.zeros(len(flat)), np.ones(len(flat))
    for taken in range(MAX_STEPS):
        if converged.all():
            break
        # While all are active a slice selects them: unlike an index, it copies nothing.
        going = np.flatnonzero(~converged) if converged.any() else slice(None)
        matrix, distance, normal = build_normal_equations(model, coordinates, going)
        short = (model.lengths[going] - distance) * model.weights[going]
        right = matrix.transpose(0, 2, 1) @ short[..., None]
        step = np.linalg.solve(normal, right)[..., 0]
        longest = np.abs(step).max(axis=1)
        too_long = longest > size[going]
        if too_long.any():
            step *= np.where(too_long, size[going] / longest, 1.0)[:, None]
        coordinates[going] += step
        left = longest
        if taken:
            share = longest / before[going]  # never of 0: that has converged
            worse = np.maximum(share, shares[going])
            left = np.where(worse < STEADY_STEP_RATIO, 4.0 * worse, 1.0) * longest
            shares[going] = share
        before[going] = longest
        converged[going] = left <= close[going]
    return coordinates, converged & determined


def _compute_statistics(
    model: NetworkModel,
    coordinates: FloatArray,
    points: FloatArray,
    outcome: npt.NDArray[np.str_],
    good: BoolArray,
) -> NetworkAdjustment:
    lost = ~good
    matrix, distance, normal = build_normal_equations(model, coordinates, slice(None))
    if lost.any():
        normal[lost] = np.eye(normal.shape[1])
    inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    through = matrix @ inverse  # (b, m, 2 n); times the matrix again, the hat

    measured = model.weights > 0.0
    unknowns = np.count_nonzero(model.free) - model.motions.shape[2]
    freedom = measured.sum(axis=1) - unknowns
    redundancy = np.maximum(1.0 - np.einsum("bmk,bmk->bm", through, matrix), 0.0)
    off = distance - model.lengths
    scaled = off * model.weights
    checked = measured & (redundancy > MIN_REDUNDANCY)
    w = scaled / np.sqrt(np.where(checked, redundancy, 1.0))
    size = np.where(checked, np.abs(w), -1.0)
    shared = _find_inseparable(matrix, through, redundancy, size)
    large = (size > CRITICAL_W) & good[:, None]
    cannot_tell = np.asarray((large & shared).any(axis=1))
    variance = (scaled * scaled).sum(axis=1) / np.where(freedom > 0, freedom, 1)
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
        suspect=large & ~cannot_tell[:, None],
        inseparable=shared & good[:, None],
        cannot_tell=cannot_tell,
    )


def _blank_where(value: FloatArray, where: BoolArray) -> FloatArray:
    """Write NaN in place where `where` is true; the array must not be shared."""
    value[where] = np.nan
    return value


def _covariance(model: NetworkModel, inverse: FloatArray) -> FloatArray:
    """Compute the cofactors of the coordinates, without the rigid motions."""
    motions = model.motions
    if motions.shape[2]:
        still = np.eye(motions.shape[1]) - motions @ motions.transpose(0, 2, 1)
        inverse = still @ inverse @ still
    return np.asarray(inverse * (model.free[:, None] * model.free))


def _find_inseparable(
    matrix: FloatArray, through: FloatArray, redundancy: FloatArray, size: FloatArray
) -> BoolArray:
    """Find the readings whose residuals correlate fully with the largest |w|.

    An error in any of them would leave the same residuals, so none can be named.
    """
    if matrix.shape[1] == 0:
        return np.zeros(size.shape, dtype=np.bool_)
    networks = np.arange(len(matrix))
    largest = size.argmax(axis=1)
    across = -(matrix @ through[networks, largest][:, :, None])[:, :, 0]
    across[networks, largest] = redundancy[networks, largest]
    scale = np.sqrt(redundancy * redundancy[networks, largest][:, None])
    usable = (size >= 0.0) & (size[networks, largest] >= 0.0)[:, None]
    twin = usable & (np.abs(across) > (1.0 - 1e-6) * scale) & (scale > 0.0)
    return np.asarray(twin & (twin.sum(axis=1) > 1)[:, None])
