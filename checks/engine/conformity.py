"""Conformity assessment: deviations against their limits, with probability.

Simple acceptance, as the trade does it: a deviation within its limits passes. Each
limit is included to 1e-6 mm, so that the unit a limit was typed in cannot change a
verdict. Guarded acceptance first shrinks the limits by the expanded uncertainty
(k = 2).

             lower                    upper
    ----------|------------------------|----------> deviation
              |<-U->|<-guarded-->|<-U->|

The probability of conformance assumes that the true deviation is normally distributed
about the observed one (JCGM 106:2012, 7.2):

    p = Phi((upper - d) / u) - Phi((lower - d) / u)
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray

SLACK_MM = 1e-6
"""Excess over a limit that still counts as on the limit. [mm]"""

NEGLIGIBLE_UNCERTAINTY_MM = 1e-9
"""Standard uncertainties below this are treated as zero. [mm]"""

COVERAGE_FACTOR = 2.0
"""Ratio of expanded to standard uncertainty, k. [1]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class ConformityAssessment:
    """Result of a conformity assessment; every member has shape (n,).

    `probability` refers to the limits as given, not to the guarded ones.
    """

    within: BoolArray
    probability: FloatArray


def assess_conformity(
    deviation: npt.ArrayLike,
    lower: npt.ArrayLike,
    upper: npt.ArrayLike,
    uncertainty: npt.ArrayLike,
    *,
    guarded: bool = False,
) -> ConformityAssessment:
    """Compare deviations with their limits.

    Parameters
    ----------
    deviation : array, shape (n,)
        Observed less nominal. NaN: not measured, and never within. [mm]
    lower : array, shape (n,) or scalar
        Lower limits; -inf for none. [mm]
    upper : array, shape (n,) or scalar
        Upper limits; inf for none. [mm]
    uncertainty : array, shape (n,) or scalar
        Standard uncertainties u. 0: known exactly. NaN: not known; the probability
        is then NaN and guarded acceptance fails, because it cannot be shown. [mm]
    guarded : bool
        Shrink the limits by U = 2 u (guard band of r = 1 [1]_). [bool]

    Returns
    -------
    Judgement
        `within` and the probability of conformance. [bool, 1]

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
    return ConformityAssessment(
        within=within,
        probability=_conformance_probability(d, low, high, u),
    )


def _conformance_probability(
    d: FloatArray, low: FloatArray, high: FloatArray, u: FloatArray
) -> FloatArray:
    """Compute the probability between the limits.

    Differences of the normal distribution are taken in the lower tail: near 1 they
    would lose all their digits.
    """
    from scipy.special import ndtr

    exact = u < NEGLIGIBLE_UNCERTAINTY_MM
    scale = np.where(exact, 1.0, u)
    below, above = (low - d) / scale, (high - d) / scale
    right = below > 0.0
    normal = np.where(right, ndtr(-below) - ndtr(-above), ndtr(above) - ndtr(below))
    on_it = (d >= low - SLACK_MM) & (d <= high + SLACK_MM)
    certain = np.where(np.isnan(d), np.nan, on_it.astype(np.float64))
    return np.where(exact, certain, normal)
