"""Readings of a check that contribute to its value, and those set aside.

Two or more readings that agree outweigh one that does not: it stays in the record with
the reason, and out of the arithmetic (see `checks.engine.repeats`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checks.engine import repeats, uncertainty
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from jobs.anchor_plan.values import ReadingValue


@dataclass(frozen=True, slots=True)
class ReadingSetAside:
    """A reading that two or more others outweigh; `off_mm` from their mean."""

    reading: ReadingValue
    off_mm: float


@dataclass(frozen=True, slots=True)
class CorrectedReadings:
    """n corrected readings with the check of each. [mm]"""

    rows: IntArray
    value: FloatArray
    parts: uncertainty.UncertaintyParts
    loading: FloatArray

    def combine(self, kept: BoolArray, n_checks: int) -> uncertainty.RepeatStatistics:
        """Combine the readings kept, check by check.

        Parameters
        ----------
        kept : (n,) which readings contribute.
        n_checks : number of checks.
        """
        parts = uncertainty.select_parts(self.parts, kept)
        return uncertainty.combine_repeats(
            self.rows[kept], n_checks, self.value[kept], parts, self.loading[kept]
        )


def combine_agreeing(
    reduction: CorrectedReadings, is_length: BoolArray
) -> tuple[uncertainty.RepeatStatistics, BoolArray]:
    """Combine the readings of each check, without those that others outweigh.

    Parameters
    ----------
    reduction : the n readings.
    is_length : (n_checks,) which checks are lengths; of no others is any set aside.

    Returns
    -------
    combined : the statistics of each check.
    kept : (n,) which readings contribute.
    """
    kept = np.ones(len(reduction.rows), dtype=bool)
    combined = reduction.combine(kept, len(is_length))
    for row in np.flatnonzero(combined.disagree & is_length):
        own = np.flatnonzero(reduction.rows == row)
        agreeing = repeats.find_agreeing(
            reduction.value[own],
            reduction.parts.independent_mm[own],
            reduction.loading[own],
            reduction.parts.resolution_mm[own] * np.sqrt(12.0),
        )
        if agreeing.any():
            kept[own] = agreeing
    if kept.all():
        return combined, kept
    return reduction.combine(kept, len(is_length)), kept


def list_set_aside(
    readings: Sequence[ReadingValue],
    reduction: CorrectedReadings,
    kept: BoolArray,
    mean_mm: FloatArray,
) -> dict[int, tuple[ReadingSetAside, ...]]:
    """List the readings that do not contribute, by the row of their check.

    Parameters
    ----------
    readings : n readings.
    reduction : their corrected values.
    kept : (n,) which of them contribute.
    mean_mm : (n_checks,) mean of those that do. [mm]
    """
    aside: dict[int, tuple[ReadingSetAside, ...]] = {}
    for i in np.flatnonzero(~kept).tolist():
        row = int(reduction.rows[i])
        off = float(reduction.value[i] - mean_mm[row])
        aside[row] = (*aside.get(row, ()), ReadingSetAside(readings[i], off))
    return aside
