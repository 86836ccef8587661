"""Thread engagement: whether the rod projects far enough for its nut.

    spare = projection - shim - plate - washer - nut (at its thickest)

Full engagement is the rod's end flush with the nut's face or beyond it (common
practice). Where the rod ends inside the nut, strength is credited in proportion to the
engaged part, and only if at least half the nut is engaged (AISC Design Guide 1, 2nd
ed., seen second-hand). Everything follows from the projection as read: that the thread
reaches down to the nut is assumed, because nobody measures it.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray
from checks.engine.conformity import SLACK_MM
from checks.engine.errors import EngineError

MIN_ENGAGED_FRACTION = 0.5  # AISC Design Guide 1, 2nd ed., seen second-hand


@dataclass(frozen=True, slots=True, kw_only=True)
class ThreadEngagement:
    """Thread of each rod above its nut, or missing. Shapes as broadcast."""

    spare_mm: FloatArray  # negative: that much is missing
    missing_mm: FloatArray  # zero where the nut is full
    engaged: FloatArray  # fraction of the nut, 0 to 1
    credited: FloatArray  # fraction of the strength that counts, 0 to 1


def compute_engagement(
    projection_mm: npt.ArrayLike,
    shim_mm: npt.ArrayLike,
    plate_mm: npt.ArrayLike,
    washer_mm: npt.ArrayLike,
    nut_max_mm: npt.ArrayLike,
) -> ThreadEngagement:
    """Compute the thread left after stacking shim, plate, washer and nut on a rod.

    Parameters
    ----------
    projection_mm : array
        Top of the rod above the bearing surface. NaN gives NaN. [mm]
    shim_mm, plate_mm, washer_mm : array
        Thicknesses under the nut; zero where there is none. [mm]
    nut_max_mm : array
        The nut at its greatest thickness, above zero. [mm]

    Returns
    -------
    Threads

    Raises
    ------
    EngineError
        If a thickness is negative or a nut has none.
    """
    projection, shim, plate, washer, nut = np.broadcast_arrays(
        *(
            np.asarray(v, np.float64)
            for v in (projection_mm, shim_mm, plate_mm, washer_mm, nut_max_mm)
        )
    )
    if (shim < 0).any() or (plate < 0).any() or (washer < 0).any():
        raise EngineError("The thickness of a shim, plate or washer is negative.")
    if (nut <= 0).any():
        raise EngineError("The thickness of a nut must be more than zero.")
    into_nut = projection - shim - plate - washer
    left = into_nut - nut
    full = left >= -SLACK_MM
    engaged = np.where(full, 1.0, np.clip(into_nut / nut, 0.0, 1.0))
    unknown = np.isnan(left)
    engaged = np.where(unknown, np.nan, engaged)
    return ThreadEngagement(
        spare_mm=left,
        missing_mm=np.where(full, 0.0, -left),
        engaged=engaged,
        # Times zero, not zero: what is not known (NaN) must stay so.
        credited=np.where(
            engaged >= MIN_ENGAGED_FRACTION - 1e-9, engaged, engaged * 0.0
        ),
    )
