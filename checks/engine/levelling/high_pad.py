"""The one high pad whose lowering would save most of the shims, if there is one."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.conformity import SLACK_MM
from checks.engine.levelling.datum import PadDatum, count_low_pads, estimate_datum


@dataclass(frozen=True, slots=True, kw_only=True)
class LowerPad:
    """The one high pad whose lowering saves most of the shims."""

    index: int
    lower_by_mm: float  # down to where the highest of the others is expected
    shims_needed: int  # pads to be shimmed as it is
    shims_saved: int  # how many fewer afterwards


def find_pad_to_lower(
    height_mm: npt.ArrayLike,
    sigma_mm: npt.ArrayLike,
    limit_mm: float,
    datum: PadDatum | None = None,
) -> LowerPad | None:
    """Find the one high pad that forces most of the shims, if there is one.

    Once it is lowered to the others, those within the limit of their own datum
    (`datum.estimate_datum`) need no shims. Offered only where this saves more than half
    of the shims, and not where two pads are equally high. Common practice.

    Parameters
    ----------
    height_mm : array, shape (n,)
        Heights as read, from any one level; NaN where unknown. [mm]
    sigma_mm : array, shape (n,) or scalar
        Standard uncertainty of each, without what all have in common. [mm]
    limit_mm : float
        Largest depth of a pad below the highest one. [mm]
    datum : PadDatum, optional
        Of these heights, where it is known.

    Returns
    -------
    LowerPad or None
    """
    height = np.asarray(height_mm, dtype=float)
    if np.count_nonzero(~np.isnan(height)) < 2:
        return None
    first = int(np.nanargmax(height))
    limit = limit_mm + SLACK_MM
    if datum is None:
        datum = estimate_datum(height, sigma_mm, limit_mm)
    before = int(np.sum(datum.depth_mm > limit))
    if not before:
        return None
    others = height.copy()
    others[first] = np.nan
    after, datum_mm = count_low_pads(others, sigma_mm, limit)
    saved = before - after
    lower_by = float(height[first] - datum_mm)
    if 2 * saved <= before or lower_by <= 0.0:
        return None
    return LowerPad(
        index=first, lower_by_mm=lower_by, shims_needed=before, shims_saved=saved
    )
