"""Errors that several taped readings have in common: of one tape, of one day.

The class term belongs to a tape, the same on every day; an unknown temperature to a
day, for all steel tapes of it. A day is a run of readings without a pause of
`NIGHT_HOURS`: a calendar day of UTC would end in the middle of an afternoon somewhere.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.uncertainty import UncertaintyParts
from jobs.anchor_plan.values import ReadingValue

NIGHT_HOURS = 6.0
"""Least pause between the readings of two days. Project choice. [h]"""

NO_DAY = ""
"""Name of the day of readings without a time: taken as one."""


class CommonErrorKind(StrEnum):
    """Kind of an error that several readings have in common."""

    TAPE = "tape"
    DAY = "day"


@dataclass(frozen=True, slots=True)
class CommonError:
    """One unknown error of unit variance.

    `name` is a tape's instrument, "" for the one that readings without an instrument
    are taken to share; of a day the date of its first reading.
    """

    kind: CommonErrorKind
    name: str


def collect_times(readings: Sequence[ReadingValue]) -> FloatArray:
    """Return when each reading was taken, (n,), NaN without a time. [s]"""
    return np.array(
        [np.nan if each.at is None else each.at.timestamp() for each in readings],
        dtype=float,
    )


def group_working_days(readings: Sequence[ReadingValue]) -> tuple[IntArray, list[str]]:
    """Group readings into working days.

    Parameters
    ----------
    readings : n readings in any order.

    Returns
    -------
    day : array of int, shape (n,)
        Index of each reading's day.
    names : date of the first reading of each day, in order of time; `NO_DAY` first,
        if any reading has no time.
    """
    seconds = collect_times(readings)
    order = np.argsort(seconds, kind="stable")  # those without a time come last
    order = order[: np.count_nonzero(~np.isnan(seconds))]
    names = [NO_DAY] if order.size < len(readings) else []
    starts = np.diff(seconds[order], prepend=-np.inf) >= NIGHT_HOURS * 3600.0
    day = np.zeros(len(readings), dtype=int)
    day[order] = len(names) - 1 + np.cumsum(starts)
    dates = (readings[i].at for i in order[starts].tolist())
    names += [at.date().isoformat() for at in dates if at is not None]
    return day, names


def build_loadings(
    parts: UncertaintyParts,
    readings: Sequence[ReadingValue],
    tape_of: IntArray,
    tape_names: Sequence[str],
    is_length: BoolArray,
) -> tuple[FloatArray, tuple[CommonError, ...]]:
    """Build the loadings of taped readings on the errors that they have in common.

    Parameters
    ----------
    parts : standard uncertainties of the n readings.
    readings : n readings.
    tape_of : array of int, shape (n,)
        Tape of each reading.
    tape_names : name of each tape.
    is_length : array, shape (n,)
        Which readings are lengths; the others share nothing.

    Returns
    -------
    loading : array, shape (n, n_common)
        For a reading of positive sign. [mm]
    errors : the n_common errors: tapes in the order of the plan, then days.
    """
    day_of, days = group_working_days(readings)
    columns, errors = [], []
    for kind, names, index, size in (
        (CommonErrorKind.TAPE, tape_names, tape_of, parts.class_mm),
        (CommonErrorKind.DAY, days, day_of, parts.temperature_mm),
    ):
        amount = np.where(is_length, size, 0.0)
        for i in np.unique(index[amount > 0.0]).tolist():
            columns.append(np.where(index == i, amount, 0.0))
            errors.append(CommonError(kind, names[i]))
    if not columns:
        return np.zeros((len(readings), 0)), ()
    return np.stack(columns, axis=1), tuple(errors)
