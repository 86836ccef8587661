r"""Bays and spans against what other readings make of the same lengths.

A bay is the difference of two running dimensions on one wall, a span a width of the
outline. With d the deviations of the two lines, the bay's is

    d_bay = d_2 - d_1

and with m the moves of the adjusted corners of a wall and f the share of the wall that
lies before the position, the move of the wall there is (1 - f) m_1 + f m_2, so that for
a span in the direction n between walls A and B

    d_span = n . (m_B - m_A)

The standard uncertainty of a sum w . x of lengths with the covariance C is
sqrt(w' C w) [1]_: errors that one tape has in common cancel in a difference of like
lengths.

References
----------
.. [1] JCGM 100:2008, *Guide to the expression of uncertainty in measurement*, 5.2.2.
"""

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.outlier_tests import CRITICAL_W

BAY_WEIGHTS = np.array([-1.0, 1.0, -1.0])
"""Of the first line, the second line and the bay in their misclosure. [1]"""


def predict_bays(lines_mm: npt.ArrayLike) -> FloatArray:
    """Compute the deviation that two lines give the bay between them.

    Parameters
    ----------
    lines_mm : array, shape (n, 2)
        Deviations of the lines, in the order of the wall; NaN where unread. [mm]

    Returns
    -------
    array, shape (n,)
        [mm]
    """
    lines = np.asarray(lines_mm, dtype=np.float64)
    return np.asarray(lines[..., 1] - lines[..., 0])


def predict_spans(
    moves_mm: npt.ArrayLike, shares: npt.ArrayLike, directions: npt.ArrayLike
) -> FloatArray:
    """Compute the deviation that the adjusted outline gives each span.

    Parameters
    ----------
    moves_mm : array, shape (n, 2, 2, 2)
        Moves of the first and second corner of the wall of the first and the second
        position, plan axes. [mm]
    shares : array, shape (n, 2)
        Share of each wall that lies before the position. [1]
    directions : array, shape (n, 2)
        Unit vectors from the first position to the second, plan axes. [1]

    Returns
    -------
    array, shape (n,)
        [mm]
    """
    share = np.asarray(shares, dtype=np.float64)
    parts = np.stack([1.0 - share, share], axis=-1)
    walls = np.einsum("nec,neck->nek", parts, np.asarray(moves_mm, dtype=np.float64))
    return np.asarray(
        np.einsum("nk,nk->n", walls[:, 1] - walls[:, 0], np.asarray(directions))
    )


def combine_uncertainty(
    weights: npt.ArrayLike, covariance_mm2: npt.ArrayLike
) -> FloatArray:
    """Compute the standard uncertainty of a weighted sum of lengths.

    Parameters
    ----------
    weights : array, shape (..., k)
        [1]
    covariance_mm2 : array, shape (..., k, k)
        Of the lengths. [mm²]

    Returns
    -------
    array, shape (...)
        [mm]
    """
    weight = np.asarray(weights, dtype=np.float64)
    covariance = np.asarray(covariance_mm2, dtype=np.float64)
    variance = np.einsum("...i,...ij,...j->...", weight, covariance, weight)
    return np.asarray(np.sqrt(variance))


def find_contradictions(
    read_mm: npt.ArrayLike, predicted_mm: npt.ArrayLike, sigma_mm: npt.ArrayLike
) -> BoolArray:
    """Find lengths that other readings contradict: further apart than 3.29 sigma.

    Parameters
    ----------
    read_mm, predicted_mm : array, shape (n,)
        Deviations; NaN, where nothing is known, contradicts nothing. [mm]
    sigma_mm : array, shape (n,)
        Standard uncertainty of their difference. [mm]

    Returns
    -------
    array of bool, shape (n,)
    """
    difference = np.abs(np.asarray(read_mm) - np.asarray(predicted_mm))
    return np.asarray(difference > CRITICAL_W * np.asarray(sigma_mm))
