"""Which checks were read twice independently: by two people, days or instruments."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

import numpy as np

from checks.engine.arrays import BoolArray
from jobs.anchor_plan.values import ReadingValue

MIN_NIGHT = timedelta(hours=8)
"""Least time between readings of two days. Project choice.

The date alone would not do: a working day of one zone may span two dates of another.
"""


def find_independent_repeats(
    readings: Sequence[Sequence[ReadingValue]],
) -> BoolArray:
    """Find the checks with two readings that differ in person, day or instrument.

    A person, time or instrument that is not named differs from nothing: what was not
    written down is no evidence.

    Parameters
    ----------
    readings : per check, its current readings.

    Returns
    -------
    array, shape (n_checks,)
        True where any two of the readings are independent.
    """
    return np.array(
        [len(group) > 1 and _has_independent_pair(group) for group in readings],
        dtype=bool,
    )


def _has_independent_pair(readings: Sequence[ReadingValue]) -> bool:
    return (
        _count_names(reading.by for reading in readings) > 1
        or _count_names(reading.instrument for reading in readings) > 1
        or _span_two_days([reading.at for reading in readings if reading.at])
    )


def _count_names(names: Iterable[str | None]) -> int:
    """Count the different names, whatever their case or the spaces around them."""
    return len({name.strip().casefold() for name in names if name and name.strip()})


def _span_two_days(times: Sequence[datetime]) -> bool:
    if len(times) < 2:
        return False
    # If the first and the last are of one day, so are all between.
    first, last = min(times), max(times)
    is_next_date = last.date() != first.astimezone(last.tzinfo).date()
    return last - first >= MIN_NIGHT and is_next_date
