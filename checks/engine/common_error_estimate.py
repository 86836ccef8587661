"""Common errors of tapes and days, estimated where one length was read in two ways.

A reading of a length t with the loadings c on common errors z of unit variance and a
variance r**2 of its own is y = t + c z + e. Nothing is known of t, so that readings of
one length tell of z by their differences alone. With D the loadings and d the readings,
each less the mean of its length, and W = diag(1 / r**2)::

    covariance of z = (1 + D' W D)**-1        estimate of z = covariance D' W d

which is the least squares adjustment with z = 0 +- 1 as further observations: Bayes'
theorem for normal errors, and the same as generalised least squares with the full
covariance matrix of the readings.
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonErrorEstimate:
    """Common errors as the readings show them.

    Attributes
    ----------
    mean : (n_common,) [1]
    root : (n_common, n_common) of their covariance, root @ root.T. [1]
    """

    mean: FloatArray
    root: FloatArray


def estimate_common_errors(
    index: IntArray, readings_mm: FloatArray, loadings: FloatArray, own_mm: FloatArray
) -> CommonErrorEstimate:
    """Estimate common errors from the repeats of each length.

    Parameters
    ----------
    index : array of int, shape (n,)
        Length of each reading, from 0. [1]
    readings_mm : array, shape (n,)
        [mm]
    loadings : array, shape (n, n_common)
        On errors of unit variance. [mm]
    own_mm : array, shape (n,)
        Standard uncertainty that each reading has alone, positive. [mm]

    Returns
    -------
    CommonErrorEstimate
        0 and the identity where no length was read in two ways.

    Raises
    ------
    ValueError
        If a reading has no uncertainty of its own.
    """
    if np.any(own_mm <= 0.0):
        raise ValueError("a reading has no uncertainty of its own")
    n_common = loadings.shape[1]
    weight = 1.0 / own_mm**2
    size = int(index.max(initial=-1)) + 1
    total = np.bincount(index, weight, minlength=size)
    # Taken from a reading of each length: lengths are large, differences small.
    first = np.zeros(size)
    first[index] = readings_mm
    off = readings_mm - first[index]
    columns = np.column_stack([off, loadings])
    means = np.zeros((size, n_common + 1))
    np.add.at(means, index, weight[:, None] * columns)
    residual = columns - (means / np.where(total, total, 1.0)[:, None])[index]
    design = residual[:, 1:]
    normal = np.eye(n_common) + design.T @ (weight[:, None] * design)
    covariance = np.linalg.inv(normal)
    return CommonErrorEstimate(
        mean=covariance @ (design.T @ (weight * residual[:, 0])),
        root=np.linalg.cholesky(covariance),
    )
