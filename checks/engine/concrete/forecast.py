"""Forecast of the day the strength gate opens, from strength against maturity.

For planning only. A forecast never opens the gate: only field-cured samples do.

Strength is assumed to grow with the logarithm of maturity (or equivalent age)::

    S = a + b ln(M)

fitted by least squares to samples of the same mixture [1]_. The range is where a
single further sample would reach the required strength at the stated confidence
(prediction limits of a straight line, Student's t), widened by the range of
temperatures expected.

References
----------
.. [1] ASTM C1074 (seen second-hand) leaves the form of the curve open; this one is
   J. M. Plowman, Magazine of Concrete Research 8 (1956) (from memory).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray
from checks.engine.errors import EngineError


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthCurve:
    """S = a + b ln(M) and its scatter. [MPa], M in the caller's unit."""

    intercept_mpa: float
    slope_mpa: float
    scatter_mpa: float  # standard deviation about the line; NaN with two samples
    samples: int
    mean_log: float
    spread_log: float  # sum of squares of ln(M) about its mean

    def strength(self, maturity: npt.ArrayLike) -> FloatArray:
        """Compute the expected strength at a maturity of any shape. [MPa]"""
        log = np.log(np.asarray(maturity, dtype=float))
        strength: FloatArray = self.intercept_mpa + self.slope_mpa * log
        return strength


@dataclass(frozen=True, slots=True, kw_only=True)
class GateForecast:
    """Hours from now until the gate is likely to open; 0 where it may be already.

    `inf` where the strength is not reached: the concrete is expected to be too cold,
    or the samples are too scattered for a latest time. NaN where two samples leave no
    range.
    """

    maturity: float  # at which the required strength is expected
    likely_h: float
    earliest_h: float
    latest_h: float


def fit_curve(maturity: npt.ArrayLike, strength_mpa: npt.ArrayLike) -> StrengthCurve:
    """Fit strength against the logarithm of maturity.

    Parameters
    ----------
    maturity : array, shape (n,), n >= 2
        Maturity or equivalent age of each sample. [°C h or h]
    strength_mpa : array, shape (n,)
        Its strength. [MPa]

    Returns
    -------
    StrengthCurve

    Raises
    ------
    EngineError
        With fewer than two different maturities, or strength that does not grow.
    """
    m = np.asarray(maturity, dtype=float)
    s = np.asarray(strength_mpa, dtype=float)
    if m.size < 2 or not np.all(m > 0) or np.ptp(m) == 0:
        raise EngineError(
            "A forecast needs samples of at least two ages, each above zero."
        )
    x = np.log(m)
    dx = x - x.mean()
    slope = float(dx @ s / (dx @ dx))
    if slope <= 0:
        raise EngineError(
            "The samples do not gain strength with age: no forecast is possible."
        )
    intercept = float(s.mean() - slope * x.mean())
    rest = s - intercept - slope * x
    freedom = m.size - 2
    return StrengthCurve(
        intercept_mpa=intercept,
        slope_mpa=slope,
        scatter_mpa=float(np.sqrt(rest @ rest / freedom)) if freedom else float("nan"),
        samples=m.size,
        mean_log=float(x.mean()),
        spread_log=float(dx @ dx),
    )


def forecast_gate(
    curve: StrengthCurve,
    required_mpa: float,
    maturity_now: float,
    rate_per_h: tuple[float, float, float],
    confidence: float = 0.95,
) -> GateForecast:
    """Forecast when the required strength is reached.

    Parameters
    ----------
    curve : StrengthCurve
        The fitted curve.
    required_mpa : float
        Strength that the gate requires. [MPa]
    maturity_now : float
        Maturity of the concrete in place, in the curve's unit.
    rate_per_h : (slow, likely, fast)
        Maturity gained per hour at the coldest, likely and warmest temperature
        expected: (T - T0) by Nurse-Saul, or `age_factor`.
    confidence : float
        Of the range, two-sided.

    Returns
    -------
    Forecast
        Earliest and latest include the range of both strength and temperature.
    """
    slow, likely, fast = rate_per_h
    at = (required_mpa - curve.intercept_mpa) / curve.slope_mpa
    early, late = _log_maturity_range(curve, at, confidence)
    # NumPy's exp returns inf where a range is open; math.exp would raise.
    with np.errstate(over="ignore"):
        middle, first, last = (float(m) for m in np.exp([at, early, late]))
    return GateForecast(
        maturity=middle,
        likely_h=_hours_until(middle, maturity_now, likely),
        earliest_h=_hours_until(first, maturity_now, fast),
        latest_h=_hours_until(last, maturity_now, slow),
    )


def _log_maturity_range(
    curve: StrengthCurve, at: float, confidence: float
) -> tuple[float, float]:
    """Find where the prediction limits of one sample cross the required strength.

    Fieller's quadratic for inverse prediction: with g = (t s / b)**2 / Sxx and
    d = at - mean, the crossings are mean + (d -+ sqrt(g Sxx ((1 - g)(1 + 1/n)
    + d**2 / Sxx))) / (1 - g), open above where g >= 1.
    """
    from scipy import stats

    if np.isnan(curve.scatter_mpa):
        return float("nan"), float("nan")
    t = float(stats.t.ppf(0.5 + confidence / 2, curve.samples - 2))
    g = (t * curve.scatter_mpa / curve.slope_mpa) ** 2 / curve.spread_log
    # The slope is not clearly above zero: the samples exclude no day.
    if g >= 1:
        return -np.inf, np.inf
    d = at - curve.mean_log
    n = curve.samples
    root = np.sqrt(
        g * curve.spread_log * ((1 - g) * (1 + 1 / n) + d**2 / curve.spread_log)
    )
    low = curve.mean_log + (d - root) / (1 - g)
    high = curve.mean_log + (d + root) / (1 - g)
    return float(low), float(high)


def _hours_until(maturity: float, now: float, rate: float) -> float:
    """Compute hours until a maturity is reached at a steady rate; 0 if it is now."""
    if np.isnan(maturity):
        return float("nan")
    if maturity <= now:
        return 0.0
    return (maturity - now) / rate if rate > 0 else float("inf")
