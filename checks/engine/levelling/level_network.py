"""Level networks: observed height differences between points, some of them fixed.

The general form of the adjustment that `levels` makes for set-ups and pads. It serves
for lines levelled between benchmarks, and to check the method against published
networks.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray, IntArray, quadratic_forms
from checks.engine.errors import EngineError
from checks.engine.levelling.levels import compute_reference_sigma


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelNetworkAdjustment:
    """Adjusted heights of a network; sigmas a priori, in the unit of the weights."""

    height: FloatArray  # (p,) unit of the differences
    sigma: FloatArray  # (p,) root of the cofactor; 0 at fixed points
    residual: FloatArray  # (n,) adjusted less observed
    redundancy: FloatArray  # (n,)
    w: FloatArray  # (n,) residual over its own sigma; NaN where nothing checks it
    reference_sigma: float  # a posteriori over a priori; NaN without redundancy
    degrees_of_freedom: int


def adjust_height_differences(
    start: npt.ArrayLike,
    end: npt.ArrayLike,
    difference: npt.ArrayLike,
    weight: npt.ArrayLike,
    fixed: Mapping[int, float],
) -> LevelNetworkAdjustment:
    """Adjust a network of levelled height differences by weighted least squares.

    H(end) - H(start) = difference + v, the sum of weight * v**2 least [1]_.

    Parameters
    ----------
    start, end : arrays of int, shape (n,)
        Points at the two ends of each line, from 0.
    difference : array, shape (n,)
        Height of the end above the start. [any length unit, the same throughout]
    weight : array, shape (n,) or scalar
        1/sigma**2 of each line. [1/unit**2, or relative]
    fixed : mapping of point to height
        Benchmarks; at least one in every connected part. [unit]

    Returns
    -------
    NetAdjustment

    Raises
    ------
    EngineError
        If a point is not connected to a benchmark.

    References
    ----------
    .. [1] C. D. Ghilani, *Adjustment Computations*, 5th ed., chapter 12.
    """
    a = np.asarray(start, dtype=np.intp)
    b = np.asarray(end, dtype=np.intp)
    observed = np.asarray(difference, dtype=float)
    weights = np.broadcast_to(np.asarray(weight, dtype=float), observed.shape)
    points = int(max(a.max(), b.max(), *fixed)) + 1
    given_heights = np.zeros(points)
    given_heights[list(fixed)] = list(fixed.values())
    unknown = np.setdiff1d(np.arange(points), list(fixed))
    design = _design_matrix(a, b, points)
    free = design[:, unknown]
    if np.linalg.matrix_rank(free) < unknown.size:
        raise EngineError(
            "Some points are not connected to a benchmark: level to them from a point"
            " that is."
        )
    cofactor = np.linalg.inv(free.T @ (weights[:, None] * free))
    height = given_heights.copy()
    height[unknown] = cofactor @ (
        free.T @ (weights * (observed - design @ given_heights))
    )
    residual = design @ height - observed
    spread = quadratic_forms(free, np.asarray(cofactor, np.float64))
    redundancy = np.clip(1.0 - weights * spread, 0.0, 1.0)
    checked = redundancy > 1e-9
    w = np.full(observed.size, np.nan)
    w[checked] = residual[checked] * np.sqrt(weights[checked] / redundancy[checked])
    freedom = observed.size - unknown.size
    sigma = np.zeros(points)
    sigma[unknown] = np.sqrt(np.diag(cofactor))
    return LevelNetworkAdjustment(
        height=height,
        sigma=sigma,
        residual=residual,
        redundancy=redundancy,
        w=w,
        reference_sigma=compute_reference_sigma(weights, residual, freedom),
        degrees_of_freedom=freedom,
    )


def _design_matrix(start: IntArray, end: IntArray, points: int) -> FloatArray:
    """Return the matrix (n, p) that takes heights to differences, end less start."""
    design = np.zeros((start.size, points))
    line = np.arange(start.size)
    # Added, not assigned: a line from a point to itself must cancel.
    np.add.at(design, (line, end), 1.0)
    np.add.at(design, (line, start), -1.0)
    return design
