"""Maturity of concrete: Nurse-Saul and equivalent age.

Maturity adds up temperature over time. It forecasts the day the strength gate opens
and never opens it [1]_.

References
----------
.. [1] ASTM C1074 (seen second-hand): Nurse-Saul and equivalent age.
"""

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray


def compute_nurse_saul(
    temperature_c: npt.ArrayLike,
    interval_h: npt.ArrayLike,
    datum_c: float = 0.0,
) -> FloatArray:
    """Compute maturity by Nurse and Saul.

    M = sum of (T - T0) dt, negative terms set to zero [1]_.

    Parameters
    ----------
    temperature_c : array, shape (..., n)
        Mean concrete temperature of each interval. [°C]
    interval_h : array, shape (..., n) or scalar
        Length of each interval. [h]
    datum_c : float
        Datum temperature; 0 for Type I cement without admixtures. [°C]

    Returns
    -------
    array, shape (...)
        Maturity. [°C h]

    References
    ----------
    .. [1] ASTM C1074 (seen second-hand).
    """
    above = np.maximum(np.asarray(temperature_c, dtype=float) - datum_c, 0.0)
    total: FloatArray = np.sum(above * np.asarray(interval_h, dtype=float), axis=-1)
    return total


def compute_age_factor(
    temperature_c: npt.ArrayLike,
    activation_k: float = 5000.0,
    reference_c: float = 20.0,
) -> FloatArray:
    """Compute how much faster concrete ages than at the reference temperature.

    exp(-Q (1/Ta - 1/Ts)), temperatures in kelvin [1]_.

    Parameters
    ----------
    temperature_c : array, any shape
        Concrete temperature. [°C]
    activation_k : float
        Activation energy over the gas constant, Q. [K]
    reference_c : float
        Reference temperature Ts; 20 or 23, as the curve was made. [°C]

    Returns
    -------
    array, same shape
        Hours at the reference temperature per hour.

    References
    ----------
    .. [1] ASTM C1074 (seen second-hand); A. K. Schindler, ACI Materials Journal
       101-M09.
    """
    kelvin = np.asarray(temperature_c, dtype=float) + 273.15
    factor: FloatArray = np.exp(
        -activation_k * (1.0 / kelvin - 1.0 / (reference_c + 273.15))
    )
    return factor


def compute_equivalent_age(
    temperature_c: npt.ArrayLike,
    interval_h: npt.ArrayLike,
    activation_k: float = 5000.0,
    reference_c: float = 20.0,
) -> FloatArray:
    """Compute the equivalent age at the reference temperature.

    te = sum of `age_factor` dt [1]_.

    Parameters
    ----------
    temperature_c : array, shape (..., n)
        Mean concrete temperature of each interval. [°C]
    interval_h : array, shape (..., n) or scalar
        Length of each interval. [h]
    activation_k : float
        Activation energy over the gas constant, Q. [K]
    reference_c : float
        Reference temperature Ts. [°C]

    Returns
    -------
    array, shape (...)
        Equivalent age. [h]

    References
    ----------
    .. [1] ASTM C1074 (seen second-hand).
    """
    factor = compute_age_factor(temperature_c, activation_k, reference_c)
    age: FloatArray = np.sum(factor * np.asarray(interval_h, dtype=float), axis=-1)
    return age
