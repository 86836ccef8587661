"""Samples stronger than concrete of their age is believed to be, until confirmed.

A wrong date, a wrong unit or a wrong report opens the gate for weak concrete. What is
possible but implausible for its age therefore waits for a second sample: one that is as
strong and was broken on another day, or reported by another person. Where the age is
not known a sample may be the youngest there is, and is believed only as far as that.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.concrete.maturity import compute_age_factor
from checks.engine.concrete.strength_gain import (
    compute_plausible_strength,
    find_implausible,
)
from checks.evaluation.independent_repeats import find_independent_repeats
from core.formatting import DisplayStyle, format_strength
from jobs.anchor_plan.values import ConcreteSpec, ReadingValue

HOURS_PER_DAY = 24.0

LEAST_AGE_D = 1.0
"""Age of the youngest sample: none is broken on the day of placing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleBreaks:
    """The breaks of one sample's latest day: its ordinal (NaN if unknown) and mean."""

    name: str
    day: float
    mean_mpa: float
    readings: tuple[ReadingValue, ...]


def find_unconfirmed(
    concrete: ConcreteSpec, samples: Sequence[SampleBreaks]
) -> BoolArray:
    """Find samples too strong for their age that no second sample confirms.

    Parameters
    ----------
    concrete : the specified strength, the day of placing and the temperatures.
    samples : n samples.

    Returns
    -------
    array, shape (n,)
        True where a sample may not open the gate.
    """
    if concrete.specified_strength is None:
        return np.zeros(len(samples), dtype=bool)
    age = compute_ages(concrete, samples)
    implausible = find_implausible(
        [sample.mean_mpa for sample in samples],
        np.where(np.isnan(age), LEAST_AGE_D, age),
        concrete.specified_strength,
    )
    strong = [sample for sample, yes in zip(samples, implausible, strict=True) if yes]
    # One reading of each sample: the companions of one are no second sample.
    firsts = [each.readings[0] for each in strong]
    second = find_independent_repeats(firsts, np.zeros(len(firsts), dtype=np.intp), 1)
    return np.asarray(implausible & ~second[0])


def compute_ages(concrete: ConcreteSpec, samples: Sequence[SampleBreaks]) -> FloatArray:
    """Compute the age of samples, (n,). [d]

    Equivalent at 20 °C where temperatures are known; NaN where the day of the break or
    of placing is not known.
    """
    if concrete.placed_on is None:
        return np.full(len(samples), np.nan)
    days = np.array([sample.day for sample in samples]) - concrete.placed_on.toordinal()
    if concrete.maturity is None or not concrete.maturity.temperatures:
        return np.asarray(days, dtype=float)
    hours, celsius = np.array(concrete.maturity.temperatures, dtype=float).T
    start = np.concatenate(([0.0], np.cumsum(hours)[:-1]))
    # What each interval adds until the break; beyond the last one it is 20 °C.
    until = days[:, None] * HOURS_PER_DAY - start[None, :]
    spent = np.clip(until, 0.0, hours[None, :])
    gained = spent * (compute_age_factor(celsius)[None, :] - 1.0)
    return np.asarray(days + gained.sum(axis=1) / HOURS_PER_DAY, dtype=float)


def describe_unconfirmed(
    concrete: ConcreteSpec, sample: SampleBreaks, style: DisplayStyle
) -> str:
    """Describe why a sample is not believed yet, and what confirms it."""
    age = float(compute_ages(concrete, [sample])[0])
    specified = concrete.specified_strength or float("nan")
    if np.isnan(age):
        return _describe_unknown_age(concrete, sample, specified, style)
    bound = float(compute_plausible_strength(age, specified))
    days = "1 day" if round(age, 1) == 1.0 else f"{age:.1f} days".replace(".0 ", " ")
    return (
        f"{sample.name}: {format_strength(sample.mean_mpa, style)} at {days} is more"
        f" than the {format_strength(bound, style)} that concrete specified for"
        f" {format_strength(specified, style)} is believed to have by then (ACI 209R-92"
        " and EN 1992-1-1, twice the fastest cement). Check the date, the unit and the"
        " report, and break a second sample on another day, or have it tested by"
        " another person. Until then this one does not open the gate."
    )


def _describe_unknown_age(
    concrete: ConcreteSpec, sample: SampleBreaks, specified: float, style: DisplayStyle
) -> str:
    """Describe what is missing to believe a sample whose age is not known."""
    bound = float(compute_plausible_strength(LEAST_AGE_D, specified))
    missing = [
        *(["the day the concrete was placed"] if concrete.placed_on is None else []),
        *(["the day this sample was broken"] if np.isnan(sample.day) else []),
    ]
    return (
        f"{sample.name}: {format_strength(sample.mean_mpa, style)} is believed at some"
        " ages only, and the age of the sample is not known: at 1 day concrete"
        f" specified for {format_strength(specified, style)} is believed to have no"
        f" more than {format_strength(bound, style)} (ACI 209R-92 and EN 1992-1-1,"
        f" twice the fastest cement). Enter {' and '.join(missing)}, or have a second"
        " sample tested by another person. Until then this one does not open the gate."
    )
