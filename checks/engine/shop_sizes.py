"""Sizes as a fabrication shop orders and makes them.

A shop lays out to 1/16 in or 1 mm; which of the two goes with the unit a plan is
drawn in. A size that something has to pass through is rounded up only: rounded to the
nearest it may be short of the need by half an increment. Both increments are a project
choice.
"""

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray
from checks.engine.conformity import SLACK_MM
from core.units import LengthStyle

INCH_INCREMENT_MM = 25.4 / 16
METRIC_INCREMENT_MM = 1.0


def get_shop_increment(style: LengthStyle) -> float:
    """Return the increment of ordered sizes: 1/16 in, or 1 mm on a metric plan. [mm]"""
    return METRIC_INCREMENT_MM if style == "metric" else INCH_INCREMENT_MM


def round_up_to_shop(mm: npt.ArrayLike, style: LengthStyle) -> FloatArray:
    """Round lengths up to what a shop makes, never down.

    A length within 1e-6 mm above an increment counts as on it, so that arithmetic in
    floating point cannot cost an increment. NaN stays NaN.

    Parameters
    ----------
    mm : any shape [mm]
    style : notation of the building's lengths; `metric` rounds to 1 mm.

    Returns
    -------
    array of the same shape [mm]
    """
    increment = get_shop_increment(style)
    lengths = np.asarray(mm, dtype=float)
    rounded: FloatArray = np.ceil((lengths - SLACK_MM) / increment) * increment
    # Adding zero turns the -0.0 of a length within the slack of zero into 0.0.
    return rounded + 0.0
