"""Readings of one check of which some agree and others do not.

Two or more readings that agree outweigh one that does not (common practice). They must
be more than half, there must be only one such group, and no two of the others may
agree with each other: two pairs that contradict each other outweigh nothing.
"""

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray, IntArray

MIN_AGREEING = 2
"""Readings that must agree before another is set aside."""

SLACK_MM = 1e-6
"""The unit a reading was typed in must not make a disagreement. [mm]"""


def find_agreeing(
    values_mm: npt.ArrayLike,
    independent_mm: npt.ArrayLike,
    common_mm: npt.ArrayLike,
    step_mm: npt.ArrayLike,
) -> BoolArray:
    """Find the one group of readings that agree and outweigh the others.

    Two readings agree where they differ by no more than the expanded uncertainty
    (k = 2) of their difference, or by one step of the tape; a group agrees where all
    its pairs do.

    Parameters
    ----------
    values_mm : array, shape (n,)
        Readings of one check, corrected. [mm]
    independent_mm : array, shape (n,)
        Standard uncertainty of each alone. [mm]
    common_mm : array, shape (n, k)
        Loadings on common errors. [mm]
    step_mm : array, shape (n,)
        Resolution of each. [mm]

    Returns
    -------
    array of bool, shape (n,)
        True for the readings that agree; all False where no group outweighs the others.
    """
    values = np.asarray(values_mm, dtype=np.float64)
    none = np.zeros(len(values), dtype=np.bool_)
    agree = _find_agreeing_pairs(
        values,
        np.asarray(independent_mm, dtype=np.float64),
        np.asarray(common_mm, dtype=np.float64),
        np.asarray(step_mm, dtype=np.float64),
    )
    groups = _list_largest_groups(np.argsort(values, kind="stable"), agree)
    if len(groups) != 1 or 2 * len(groups[0]) <= len(values):
        return none
    kept = none.copy()
    kept[groups[0]] = True
    others = np.flatnonzero(~kept)
    alone = agree[np.ix_(others, others)].sum() == len(others)
    return kept if alone else none


def _find_agreeing_pairs(
    values: FloatArray, own: FloatArray, common: FloatArray, step: FloatArray
) -> BoolArray:
    """Return which pairs (n, n) agree; each reading agrees with itself."""
    apart = np.abs(values[:, None] - values)
    shared = ((common[:, None] - common) ** 2).sum(axis=2)
    limit = 2.0 * np.sqrt(own[:, None] ** 2 + own**2 + shared)
    limit = np.maximum(limit, np.maximum(step[:, None], step))
    return np.asarray(apart <= limit + SLACK_MM)


def _list_largest_groups(order: IntArray, agree: BoolArray) -> list[IntArray]:
    """Return the largest groups of neighbours in `order` that agree, two or more."""
    for size in range(len(order), MIN_AGREEING - 1, -1):
        windows = [order[i : i + size] for i in range(len(order) - size + 1)]
        groups = [each for each in windows if agree[np.ix_(each, each)].all()]
        if groups:
            return groups
    return []
