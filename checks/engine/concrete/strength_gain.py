"""Strength that concrete can have at an age: a bound on what is believed at once.

ACI 209R-92 eq. 2-1 and EN 1992-1-1 3.1.2(6) give the mean strength at an age t as a
share of that at 28 days::

    ACI 209R     f(t) = t / (a + b t)                 t in days at about 20 °C
    EN 1992      f(t) = exp(s (1 - sqrt(28 / t)))

The upper bound here is twice the specified strength times the faster of the fastest
ordinary cement by each: type III moist-cured, and class R (s = 0.20). Twice, because
the mean of a mixture without records is up to 1.4 times the specified strength, plus
three standard deviations of scatter. Project choice. Steam-cured and accelerated
mixtures exceed it honestly: a sample above it asks for a second one, it is not refused.
"""

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray

TYPE_III_MOIST = (2.3, 0.92)
"""a [d] and b [1] of ACI 209R-92 eq. 2-1, seen second-hand."""

CLASS_R = 0.20
"""s of EN 1992-1-1 3.1.2(6) for cement of class R."""

OVERSTRENGTH = 2.0
"""Largest 28-day strength believed at once, as a share of the specified one."""

SLACK_MPA = 1e-9


def compute_gain_aci(
    age_d: npt.ArrayLike, constants: tuple[float, float] = TYPE_III_MOIST
) -> FloatArray:
    """Compute the mean strength at an age, as a share of that at 28 days.

    t / (a + b t), [1]_.

    Parameters
    ----------
    age_d : array, any shape
        Age, or equivalent age at 20 °C. [d]
    constants : tuple of two floats
        a [d] and b [1] of cement and curing.

    Returns
    -------
    array, same shape
        Share of the 28-day strength. [1]

    References
    ----------
    .. [1] ACI 209R-92, eq. 2-1 (seen second-hand).
    """
    age = np.asarray(age_d, dtype=float)
    a, b = constants
    return np.asarray(age / (a + b * age), dtype=float)


def compute_gain_en(age_d: npt.ArrayLike, s: float = CLASS_R) -> FloatArray:
    """Compute the mean strength at an age, as a share of that at 28 days.

    exp(s (1 - sqrt(28 / t))), [1]_; 0 at age 0.

    Parameters
    ----------
    age_d : array, any shape
        Age, or equivalent age at 20 °C. [d]
    s : float
        0.20, 0.25 or 0.38 for cement of class R, N or S. [1]

    Returns
    -------
    array, same shape
        Share of the 28-day strength. [1]

    References
    ----------
    .. [1] EN 1992-1-1:2004, 3.1.2(6).
    """
    age = np.maximum(np.asarray(age_d, dtype=float), 1e-9)
    return np.asarray(np.exp(s * (1.0 - np.sqrt(28.0 / age))), dtype=float)


def compute_plausible_strength(
    age_d: npt.ArrayLike, specified_mpa: float
) -> FloatArray:
    """Compute the strength beyond which a sample is believed only with a second one.

    Parameters
    ----------
    age_d : array, any shape
        Age, or equivalent age at 20 °C. [d]
    specified_mpa : float
        Specified strength. [MPa]

    Returns
    -------
    array, same shape
        The bound; NaN where the age or the specified strength is not known. [MPa]
    """
    fastest = np.maximum(compute_gain_aci(age_d), compute_gain_en(age_d))
    return np.asarray(OVERSTRENGTH * specified_mpa * fastest, dtype=float)


def find_implausible(
    strength_mpa: npt.ArrayLike, age_d: npt.ArrayLike, specified_mpa: float
) -> BoolArray:
    """Find samples stronger than concrete of their age is believed to be.

    Parameters
    ----------
    strength_mpa : array, shape (n,)
        Strengths of the samples. [MPa]
    age_d : array, shape (n,)
        Their ages; one that is NaN is not doubted. [d]
    specified_mpa : float
        Specified strength; NaN where there is none, which believes all. [MPa]

    Returns
    -------
    array, shape (n,)
        True where a second sample has to confirm it.
    """
    bound = compute_plausible_strength(age_d, specified_mpa)
    return np.asarray(np.asarray(strength_mpa, float) > bound + SLACK_MPA)
