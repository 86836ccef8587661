"""Which checks were read twice independently: by two people, days or instruments."""

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.evaluation.common_errors import collect_times
from jobs.anchor_plan.values import ReadingValue

MIN_NIGHT = timedelta(hours=8)
"""Least time between readings of two days. Project choice.

The date alone would not do: a working day of one zone may span two dates of another.
"""


def find_independent_repeats(
    readings: Sequence[ReadingValue], index: IntArray, n_checks: int
) -> BoolArray:
    """Find the checks with two readings that differ in person, day or instrument.

    A person, time or instrument that is not named differs from nothing: what was not
    written down is no evidence.

    Parameters
    ----------
    readings : n readings.
    index : array of int, shape (n,)
        The check of each.
    n_checks : how many checks there are.

    Returns
    -------
    array, shape (n_checks,)
        True where any two of the readings are independent.
    """
    people = _number_names([each.by for each in readings])
    instruments = _number_names([each.instrument for each in readings])
    different = _find_different(index, n_checks, people)
    different |= _find_different(index, n_checks, instruments)
    for check in _find_long_spans(index, n_checks, readings):
        own = (readings[i].at for i in np.flatnonzero(index == check).tolist())
        different[check] |= _span_two_days([at for at in own if at])
    return different


def _number_names(names: Sequence[str | None]) -> FloatArray:
    """Number the different names, whatever their case or spaces; NaN for no name."""
    number: dict[str, float] = {}
    by_text: dict[str | None, float] = {None: np.nan}
    for text in dict.fromkeys(names):
        name = (text or "").strip().casefold()
        by_text[text] = number.setdefault(name, len(number)) if name else np.nan
    return np.array([by_text[text] for text in names], dtype=float)


def _find_different(index: IntArray, n_checks: int, amount: FloatArray) -> BoolArray:
    """Find the checks with two readings of different amounts; NaN differs from none."""
    return np.asarray(_compute_spread(index, n_checks, amount) > 0.0)


def _compute_spread(index: IntArray, n_checks: int, amount: FloatArray) -> FloatArray:
    """Return the largest less the smallest amount of each check, NaN left out."""
    largest, smallest = np.full(n_checks, -np.inf), np.full(n_checks, np.inf)
    np.fmax.at(largest, index, amount)
    np.fmin.at(smallest, index, amount)
    return np.asarray(largest - smallest)


def _find_long_spans(
    index: IntArray, n_checks: int, readings: Sequence[ReadingValue]
) -> list[int]:
    """Find the checks whose readings span at least a night."""
    spread = _compute_spread(index, n_checks, collect_times(readings))
    return np.flatnonzero(spread >= MIN_NIGHT.total_seconds()).tolist()


def _span_two_days(times: Sequence[datetime]) -> bool:
    # If the first and the last are of one day, so are all between.
    first, last = min(times), max(times)
    return last.date() != first.astimezone(last.tzinfo).date()
