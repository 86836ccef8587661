"""The two shim stacks around a shortfall, to show why one of them was chosen.

Of all sums of the given thicknesses, of at least one plate: the largest not above the
shortfall and the smallest above it. The nearer of the two is the shim, the thinner of
two equally near (common practice)::

    0 --- below ---- shortfall -- above --->      chosen: above
"""

import math
from collections.abc import Iterable

from checks.engine.levelling.shims import STEPS_PER_MM

MAX_LISTED_SUMS = 50_000
"""Largest number of sums listed; with more, nothing is shown."""


def find_stacks_around(
    shortfall_mm: float, thicknesses_mm: Iterable[float]
) -> tuple[float, float]:
    """Find the stacks next to a shortfall, one on either side of it.

    Parameters
    ----------
    shortfall_mm : float
        Depth of a pad below the highest, to the nearest millionth. [mm]
    thicknesses_mm : iterable of float
        Thicknesses on hand, in any order. [mm]

    Returns
    -------
    tuple of float
        The largest sum not above the shortfall and the smallest above it; NaN where
        there is none, or where the thicknesses make too many sums to list. [mm]
    """
    wanted = round(shortfall_mm * STEPS_PER_MM)
    plates = {
        round(one * STEPS_PER_MM)
        for one in thicknesses_mm
        if round(one * STEPS_PER_MM) > 0
    }
    sums, edge = {0}, {0}
    above = math.inf
    while edge and len(sums) < MAX_LISTED_SUMS:
        grown = {one + plate for one in edge for plate in plates}
        above = min([above, *(one for one in grown if one > wanted)])
        edge = {one for one in grown if one <= wanted} - sums
        sums |= edge
    if edge:
        return math.nan, math.nan
    below = max(sums - {0}, default=math.nan)
    return below / STEPS_PER_MM, above / STEPS_PER_MM if math.isfinite(
        above
    ) else math.nan
