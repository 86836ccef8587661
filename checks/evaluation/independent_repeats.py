"""Which checks were read twice independently: by two people, days or instruments."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import combinations

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
        [
            len(group) > 1
            and any(_are_independent(a, b) for a, b in combinations(group, 2))
            for group in readings
        ],
        dtype=bool,
    )


def _are_independent(a: ReadingValue, b: ReadingValue) -> bool:
    return (
        _differ(a.by, b.by)
        or _differ(a.instrument, b.instrument)
        or (a.at is not None and b.at is not None and _on_two_days(a.at, b.at))
    )


def _differ(a: str | None, b: str | None) -> bool:
    names = [(name or "").strip().casefold() for name in (a, b)]
    return all(names) and names[0] != names[1]


def _on_two_days(a: datetime, b: datetime) -> bool:
    return abs(a - b) >= MIN_NIGHT and a.date() != b.astimezone(a.tzinfo).date()
