"""Whether a deviation is within its limits, and how sure that is.

Simple acceptance, as the trade does it: within means within the limits, each limit
included to 1e-6 mm, so that the unit a limit was typed in cannot change a verdict.
Guarded acceptance shrinks the limits by the expanded uncertainty (k = 2) first.

             lower                    upper
    ----------|------------------------|----------> deviation
           <-U-+-U->                <-U-+-U->         close to a limit
               |<--- guarded: within --->|

The probability of conformance takes the true deviation as normal about the observed
one (JCGM 106:2012, 7.2):

    p = Phi((upper - d) / u) - Phi((lower - d) / u)
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray

SLACK_MM = 1e-6
"""How far beyond its limit a deviation still counts as on it. [mm]"""

NEGLIGIBLE_UNCERTAINTY_MM = 1e-9
"""A standard uncertainty below this counts as none. [mm]"""

COVERAGE_FACTOR = 2.0
"""Expanded over standard uncertainty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ConformityAssessment:
    """The verdict on each deviation, and its company; all of shape (n,).

    `probability` is that of the true deviation being within the (unshrunk) limits.
    """

    within: BoolArray
    probability: FloatArray
    close_to_limit: BoolArray


def assess_conformity(
    deviation: npt.ArrayLike,
    lower: npt.ArrayLike,
    upper: npt.ArrayLike,
    uncertainty: npt.ArrayLike,
    *,
    guarded: bool = False,
) -> ConformityAssessment:
    """Hold deviations against their limits.

    Parameters
    ----------
    deviation : array, shape (n,)
        Observed less nominal. NaN: nothing measured; never within. [mm]
    lower : array, shape (n,) or scalar
        Lower limits; -inf for none. [mm]
    upper : array, shape (n,) or scalar
        Upper limits; inf for none. [mm]
    uncertainty : array, shape (n,) or scalar
        Standard uncertainties u. 0: known exactly. NaN: not known: the probability
        is NaN then, and guarded acceptance, which cannot be shown, fails. [mm]
    guarded : bool
        Whether the limits are shrunk by U = 2 u (guard band of r = 1 [1]_). [bool]

    Returns
    -------
    Judgement
        within, probability of conformance, and whether the deviation lies within
        U of a limit on either side (never so where u is 0 or not known). [bool, 1]

    Raises
    ------
    ValueError
        If an uncertainty is negative or a lower limit above its upper one.

    References
    ----------
    .. [1] JCGM 106:2012, *The role of measurement uncertainty in conformity
       assessment*, 7.2 (probability), 8.2 (simple), 8.3 (guarded acceptance).
    """
    d, low, high, u = np.broadcast_arrays(
        *(
            np.asarray(x, dtype=np.float64)
            for x in (deviation, lower, upper, uncertainty)
        )
    )
    if np.any(u < 0.0):
        raise ValueError("a standard uncertainty is negative")
    if np.any(low > high):
        raise ValueError("a lower limit lies above its upper limit")
    expanded = COVERAGE_FACTOR * u
    guard = expanded if guarded else np.zeros_like(u)
    within = (d >= low + guard - SLACK_MM) & (d <= high - guard + SLACK_MM)
    near = (np.abs(d - high) <= expanded) | (np.abs(d - low) <= expanded)
    return ConformityAssessment(
        within=within,
        probability=_conformance_probability(d, low, high, u),
        close_to_limit=near & (u >= NEGLIGIBLE_UNCERTAINTY_MM),
    )


def _conformance_probability(
    d: FloatArray, low: FloatArray, high: FloatArray, u: FloatArray
) -> FloatArray:
    """Probability between the limits, taken in the tail that keeps its digits."""
    from scipy.special import ndtr

    exact = u < NEGLIGIBLE_UNCERTAINTY_MM
    scale = np.where(exact, 1.0, u)
    below, above = (low - d) / scale, (high - d) / scale
    right = below > 0.0
    normal = np.where(right, ndtr(-below) - ndtr(-above), ndtr(above) - ndtr(below))
    on_it = (d >= low - SLACK_MM) & (d <= high + SLACK_MM)
    certain = np.where(np.isnan(d), np.nan, on_it.astype(np.float64))
    return np.where(exact, certain, normal)
