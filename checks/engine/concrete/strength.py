"""Concrete strength: the gate for erection, acceptance as delivered, and companions.

Separate assessments, because they rest on different samples:

- the gate: field-cured samples against 75 % of the specified strength, or against
  the strength the engineer states as sufficient for erection; either opens it [1]_;
- the acceptance of the concrete as delivered: standard-cured tests [2]_.

Companion cylinders must agree before their mean is used [3]_. Maturity, which only
forecasts the day the gate opens, is in `maturity` and `forecast`.

References
----------
.. [1] 29 CFR 1926.752(a)(1).
.. [2] ACI 318-19, 26.12.3.1 (seen second-hand).
.. [3] ASTM C39/C39M, precision, and ASTM C670 (both from memory).
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.constants import PSI_MPA
from checks.engine.errors import EngineError

SLACK_MPA = 1e-9

WITHIN_TEST_VARIATION = 0.032
"""Within-test variation of 4 by 8 in cylinders, the widest in ASTM C39. [1]

From memory.
"""

RANGE_FACTORS = (2.8, 3.3, 3.6, 3.9, 4.0, 4.2, 4.3, 4.4, 4.5)
"""Standard deviations that 2 to 10 results span at most, 19 times in 20. [1]

ASTM C670 (from memory); the 95 % points of the studentised range, rounded.
"""

Route = Literal["ratio", "sufficient"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthGate:
    """The gate for setting columns, by either route; NaN where not known. [MPa]"""

    open: bool
    strength_mpa: float  # lowest of the latest day's samples
    required_mpa: float  # the lower of the two routes' requirements
    ratio: float  # of the specified strength
    route: Route | None  # the route that requires less; None without a requirement
    samples: IntArray  # (m,) the latest day's samples
    sample: int  # the lowest of them; -1 without any


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcreteAcceptance:
    """Acceptance of standard-cured strength tests by ACI 318-19 26.12.3.1."""

    accepted: bool
    average_of_three_mpa: FloatArray  # (n - 2,) running
    average_low: BoolArray  # (n - 2,) below the specified strength
    test_low: BoolArray  # (n,) too far below it
    lowest_allowed_mpa: float


def assess_strength_gate(
    strength_mpa: npt.ArrayLike,
    *,
    specified_mpa: float = float("nan"),
    sufficient_mpa: float = float("nan"),
    ratio: float = 0.75,
    day: npt.ArrayLike | None = None,
) -> StrengthGate:
    """Compare field-cured samples with the strength that erection needs.

    The lowest of the samples broken on the latest day counts: earlier ones are
    superseded, and a better companion does not improve a poor one. A sample of unknown
    day counts as one of the latest. Open when strength >= ratio * specified, or >= the
    sufficient strength, whichever is given and less [1]_.

    Parameters
    ----------
    strength_mpa : array, shape (n,)
        Compressive strengths of field-cured samples. [MPa]
    specified_mpa : float
        Specified strength f'c; NaN where not known. [MPa]
    sufficient_mpa : float
        Strength the engineer states as sufficient for erection; NaN where none. [MPa]
    ratio : float
        Share of the specified strength that is enough.
    day : array, shape (n,), optional
        Day each sample was broken, any count of days; NaN where unknown. [d]

    Returns
    -------
    StrengthGate

    References
    ----------
    .. [1] 29 CFR 1926.752(a)(1).
    """
    strength = np.asarray(strength_mpa, dtype=float)
    days = np.zeros(strength.size) if day is None else np.asarray(day, dtype=float)
    undated = np.isnan(days)
    last = np.max(days[~undated], initial=-np.inf)
    latest = np.flatnonzero(undated | (days == last))
    sample = int(latest[np.argmin(strength[latest])]) if latest.size else -1
    lowest = float(strength[sample]) if latest.size else float("nan")
    needs: dict[Route, float] = {
        "ratio": ratio * specified_mpa,
        "sufficient": sufficient_mpa,
    }
    known = {route: need for route, need in needs.items() if not np.isnan(need)}
    route, required = min(
        known.items(), key=lambda need: need[1], default=(None, float("nan"))
    )
    # NaN compares as False: without a sample or a requirement the gate stays shut.
    return StrengthGate(
        open=bool(lowest >= required - SLACK_MPA),
        strength_mpa=lowest,
        required_mpa=required,
        ratio=lowest / specified_mpa,
        route=route,
        samples=latest,
        sample=sample,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CompanionAgreement:
    """Range of companion cylinders, as a share of their mean. [1]"""

    relative_range: float  # largest less smallest over the mean; 0 for a single one
    allowed_range: float  # what the test explains; NaN for a single one

    @property
    def agree(self) -> bool:
        """True if the test explains the range, so that the mean can be used."""
        return not self.relative_range > self.allowed_range


def assess_companions(strength_mpa: npt.ArrayLike) -> CompanionAgreement:
    """Compare the range of one sample's cylinders, broken on one day, with its limit.

    The limit is the range that one operator's results exceed one time in twenty: the
    within-test variation times the factor for their number, 9.0 % for two and 10.6 %
    for three [1]_. The size of the cylinders is not recorded, so the widest variation
    is used; more than ten count as ten.

    Parameters
    ----------
    strength_mpa : array, shape (n,)
        Strengths of the companions. [MPa]

    Returns
    -------
    Companions

    References
    ----------
    .. [1] ASTM C39/C39M, precision: acceptable range of individual cylinder
       strengths; ASTM C670 for more than three (both from memory).
    """
    strength = np.asarray(strength_mpa, dtype=float)
    if strength.size < 2:
        return CompanionAgreement(relative_range=0.0, allowed_range=float("nan"))
    factor = RANGE_FACTORS[min(strength.size, len(RANGE_FACTORS) + 1) - 2]
    return CompanionAgreement(
        relative_range=float(np.ptp(strength) / np.mean(strength)),
        allowed_range=factor * WITHIN_TEST_VARIATION,
    )


def assess_acceptance(
    test_mpa: npt.ArrayLike, specified_mpa: float
) -> ConcreteAcceptance:
    """Assess standard-cured strength tests, in the order they were made.

    Accepted when every average of three consecutive tests is at least f'c, and no
    test is below f'c by more than 500 psi (f'c up to 5000 psi) or 10 % of it (above)
    [1]_. With fewer than three tests only the second rule applies. Acceptance says
    nothing about when columns may be set.

    Parameters
    ----------
    test_mpa : array, shape (n,)
        Strength tests, each the mean of its cylinders. [MPa]
    specified_mpa : float
        Specified strength f'c. [MPa]

    Returns
    -------
    Acceptance

    References
    ----------
    .. [1] ACI 318-19, 26.12.3.1 (seen second-hand).
    """
    tests = np.asarray(test_mpa, dtype=float)
    if not tests.size:
        raise EngineError("There is no strength test to assess.")
    total = np.cumsum(np.concatenate([[0.0], tests]))
    average = (total[3:] - total[:-3]) / 3.0
    modest = specified_mpa <= 5000 * PSI_MPA + SLACK_MPA
    lowest = specified_mpa - (500 * PSI_MPA if modest else 0.10 * specified_mpa)
    average_low = average < specified_mpa - SLACK_MPA
    test_low = tests < lowest - SLACK_MPA
    return ConcreteAcceptance(
        accepted=not (average_low.any() or test_low.any()),
        average_of_three_mpa=average,
        average_low=average_low,
        test_low=test_low,
        lowest_allowed_mpa=float(lowest),
    )
