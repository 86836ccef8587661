"""Columns out of plumb: deviation over height, and the movement that corrects it.

    working line
       |   /
       |  /   out of plumb = top less base, measured level
    h  | /    limit = ratio * h      AISC 303 7.13.1.1: 1/500
       |/
      base

The limit is on the angle of the working line to a plumb line, one angle in space: it
holds for each axis, and for both together. The top must move by as much, the other way.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.conformity import SLACK_MM
from checks.engine.errors import EngineError


@dataclass(frozen=True, slots=True, kw_only=True)
class PlumbAssessment:
    """Plumb of columns, axes along and in; NaN where an axis was not measured."""

    slope: FloatArray  # (..., 2) out of plumb over height
    limit_mm: FloatArray  # (...) largest out of plumb at that height
    within: BoolArray  # (..., 2) False also where not measured
    movement_mm: FloatArray  # (..., 2) at the height measured, to stand plumb
    out_of_plumb_mm: FloatArray  # (...) both axes together
    resultant_slope: FloatArray  # (...) out of plumb of both axes over height
    resultant_within: BoolArray  # (...) False also where an axis was not measured
    direction_rad: FloatArray  # (...) of the top from the base, from along towards in


def compute_plumb_limit(height_mm: npt.ArrayLike, ratio: float) -> FloatArray:
    """Compute the plumb limit at a height: ratio * height.

    Parameters
    ----------
    height_mm : array, any shape
        Height between the two points measured. [mm]
    ratio : float
        Out of plumb over height, 1/500 by AISC 303 7.13.1.1.

    Returns
    -------
    array, same shape
        Limit either way. [mm]

    Raises
    ------
    EngineError
        If a height is not above zero.
    """
    height = np.asarray(height_mm, dtype=float)
    if np.any(height <= 0):
        raise EngineError("The height between the two points must be above zero.")
    limit: FloatArray = ratio * height
    return limit


def assess_plumb(
    out_of_plumb_mm: npt.ArrayLike, height_mm: npt.ArrayLike, ratio: float
) -> PlumbAssessment:
    """Compare columns with their plumb limit, axis by axis and both together.

    Parameters
    ----------
    out_of_plumb_mm : array, shape (..., 2)
        Offset of the top from the base, along and in; NaN where not measured. [mm]
    height_mm : array, shape (...) or (..., 2)
        Height between the two points measured. [mm]
    ratio : float
        Largest out of plumb over height.

    Returns
    -------
    Plumb
        `limit_mm` by the lesser of the two heights where they differ; each axis is
        compared with its own.
    """
    offset = np.asarray(out_of_plumb_mm, dtype=float)
    height = np.asarray(height_mm, dtype=float)
    if height.shape != offset.shape:
        height = np.broadcast_to(height[..., None], offset.shape)
    limit = compute_plumb_limit(height, ratio)
    measured = ~np.isnan(offset)
    within = measured & (np.abs(np.where(measured, offset, 0)) <= limit + SLACK_MM)
    slope = offset / height
    resultant = np.hypot(slope[..., 0], slope[..., 1])
    both = np.logical_and.reduce(measured, axis=-1)
    # Compared as a length at the greater height, like each axis.
    excess = (np.where(both, resultant, 0.0) - ratio) * height.max(axis=-1)
    return PlumbAssessment(
        slope=slope,
        limit_mm=limit.min(axis=-1),
        within=within,
        movement_mm=-offset,
        out_of_plumb_mm=np.hypot(offset[..., 0], offset[..., 1]),
        resultant_slope=resultant,
        resultant_within=both & (excess <= SLACK_MM),
        direction_rad=np.arctan2(offset[..., 1], offset[..., 0]),
    )
