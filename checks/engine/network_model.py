"""The linear model of a distance network: Jacobian, rigid motions, normal equations.

`distance_network` iterates on it. Coordinates are flat, x and y of each point in turn;
b networks of one pattern at once, with n points and m distances each.

Errors that several distances have in common are k unknowns more, behind the
coordinates, each of unit variance with the pseudo-reading 0 +- 1::

    distance_i = |x_j - x_i| + sum_k c_ik z_k + noise,    0 = z_k + noise of 1

The weights so stay diagonal, which is the same adjustment as one with the covariance
diag(r**2) + c c' (K.-R. Koch, *Parameter Estimation and Hypothesis Testing in Linear
Models*, 1999, 3.2.7 and 3.4; from memory).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class NetworkModel:
    """The constants of the iteration; unknowns are flat, (b, 2 n + k)."""

    incidence: FloatArray  # (m, n) -1 at the first point of a pair, +1 at the second
    lengths: FloatArray  # (b, m) 0 where not measured
    weights: FloatArray  # (b, m) 1 / sigma, 0 where not measured
    common: FloatArray  # (b, m, k) loadings times weights
    free: FloatArray  # (2 n + k,) 0 for the coordinates of held points, else 1
    motions: FloatArray  # (b, 2 n + k, 3, 1 or 0) rigid motions G, orthonormal columns
    stiffening: FloatArray  # square: c G G', 1 for a held coordinate and each z
    motion_weight: FloatArray  # (b,) c, of the size of the normal matrix

    @property
    def n_coordinates(self) -> int:
        """Return the number of coordinates of a network, 2 n."""
        return 2 * int(self.incidence.shape[1])


def check_pairs(pairs: npt.ArrayLike, n: int) -> IntArray:
    """Return pairs (m, 2) as indices; raise if one names no two of n points."""
    pair = np.asarray(pairs, dtype=np.intp).reshape(-1, 2)
    if np.any((pair < 0) | (pair >= n)) or np.any(pair[:, 0] == pair[:, 1]):
        raise ValueError(f"a pair must name two different points of 0 to {n - 1}")
    return pair


def build_model(
    flat: FloatArray,
    pair: IntArray,
    lengths_mm: npt.ArrayLike,
    sigma_mm: npt.ArrayLike,
    held: BoolArray,
    common_mm: npt.ArrayLike | None = None,
) -> NetworkModel:
    """Build the model of b networks; `flat` (b, 2 n) are the starting points. [mm]

    `common_mm` (b, m, k), or (m, k) for all, are the loadings on common errors.
    """
    lengths = np.asarray(lengths_mm, dtype=np.float64)
    if lengths.shape != (len(flat), len(pair)):
        raise ValueError("lengths must be (networks, pairs)")
    sigma = np.broadcast_to(np.asarray(sigma_mm, dtype=np.float64), lengths.shape)
    measured = ~np.isnan(lengths)
    if np.any(measured & ~(sigma > 0.0)):
        raise ValueError("a standard uncertainty must be greater than zero")
    weights = np.where(measured, 1.0 / np.where(measured, sigma, 1.0), 0.0)
    # The mean of the normal's diagonal: the motions then weigh like the readings.
    motion_weight = (weights**2).sum(axis=1) / len(held)
    motion_weight = np.where(motion_weight > 0.0, motion_weight, 1.0)
    motions = find_unseen_motions(flat, held)
    fixed = np.repeat(held, 2)
    each = np.arange(len(fixed))
    common = _weigh_loadings(common_mm, weights)
    shared = common.shape[2]
    if shared:
        motions = np.pad(motions, ((0, 0), (0, shared), (0, 0)))
    stiffening = motion_weight[:, None, None] * (motions @ motions.transpose(0, 2, 1))
    # 1e-14 keeps a collapsing network regular: a singular one would stop the others.
    stiffening[:, each, each] += motion_weight[:, None] * (fixed + 1e-14)
    behind = len(fixed) + np.arange(shared)
    stiffening[:, behind, behind] += 1.0
    return NetworkModel(
        incidence=build_incidence(pair, len(held)),
        lengths=np.where(measured, lengths, 0.0),
        weights=weights,
        common=common,
        free=np.concatenate([np.where(fixed, 0.0, 1.0), np.ones(shared)]),
        motions=motions,
        stiffening=stiffening,
        motion_weight=motion_weight,
    )


def _weigh_loadings(common_mm: npt.ArrayLike | None, weights: FloatArray) -> FloatArray:
    """Return the loadings times the weights of their distances, (b, m, k)."""
    if common_mm is None:
        return np.zeros((*weights.shape, 0))
    common = np.asarray(common_mm, dtype=np.float64)
    if common.ndim not in (2, 3) or common.shape[-2] != weights.shape[1]:
        raise ValueError("loadings must be (networks, pairs, errors)")
    common = np.broadcast_to(common, (len(weights), *common.shape[-2:]))
    return np.asarray(
        np.where(weights[..., None] > 0.0, common, 0.0) * weights[..., None]
    )


def build_incidence(pair: IntArray, n: int) -> FloatArray:
    """Return the incidence matrix (m, n): -1 at the first point, +1 at the second."""
    incidence = np.zeros((len(pair), n))
    each = np.arange(len(pair))
    incidence[each, pair[:, 0]] = -1.0
    incidence[each, pair[:, 1]] = 1.0
    return incidence


def build_jacobian(
    incidence: FloatArray, flat: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return rows (b, m, 2 n) and distances (b, m) at the points."""
    m, n = incidence.shape
    step = incidence @ flat.reshape(len(flat), n, 2)
    distance = np.hypot(step[..., 0], step[..., 1])
    unit = step / np.where(distance > 0.0, distance, 1.0)[..., None]
    matrix = incidence[None, :, :, None] * unit[:, :, None, :]
    return matrix.reshape(len(flat), m, 2 * n), distance


def find_unseen_motions(flat: FloatArray, held: BoolArray) -> FloatArray:
    """Return unseen motions (b, 2 n, k) in orthonormal columns; k = 3, 1 or 0."""
    b, n = len(flat), len(held)
    holds = np.count_nonzero(held)
    if holds >= 2:
        return np.zeros((b, 2 * n, 0))
    points = flat.reshape(b, n, 2)
    arm = points - (points[:, held] if holds else points.sum(1, keepdims=True) / n)
    motions = np.zeros((b, n, 2, 1 if holds else 3))
    motions[:, :, 0, -1] = -arm[..., 1]
    motions[:, :, 1, -1] = arm[..., 0]
    size = np.sqrt((arm**2).sum(axis=(1, 2)))
    motions[..., -1] /= np.where(size > 0.0, size, 1.0)[:, None, None]
    if not holds:
        motions[:, :, 0, 0] = motions[:, :, 1, 1] = 1.0 / np.sqrt(n)
    return motions.reshape(b, 2 * n, -1)


def build_normal_equations(
    model: NetworkModel, flat: FloatArray, which: IntArray | slice
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return weighted rows, distances and regular normal matrix of some networks.

    The motions removed are those at the start, not at the present points. A step
    still solves the normal equations exactly; it only fixes another combination of
    motions that no distance sees.
    """
    corners = model.n_coordinates
    matrix, distance = build_jacobian(model.incidence, flat[which][:, :corners])
    matrix *= model.weights[which][..., None] * model.free[:corners]
    if model.common.shape[2]:
        matrix = np.concatenate([matrix, model.common[which]], axis=2)
    normal = matrix.transpose(0, 2, 1) @ matrix
    normal += model.stiffening[which]
    return matrix, distance, normal
