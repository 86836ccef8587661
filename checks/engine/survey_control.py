"""Survey control: transform surveyed points to the plan by points known in both.

    plan = centroid of plan points + R(rotation) (survey - centroid of survey points)

No scale is fitted, because a tape and a total station measure the same lengths. The
scale that would fit best is reported all the same: it reveals a wrong unit. A survey
whose axes are swapped or reversed is a mirror image, which no rotation brings onto the
plan.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray
from checks.engine.errors import EngineError
from checks.engine.rigid_fit import fit_rigid

MIN_CONTROL_SPAN_MM = 1000.0
"""Control points closer together than this rotate the rest too much. Project choice."""

MIRRORED_RESIDUAL_RATIO = 0.2
"""Ratio of residuals below which the mirror image is the better fit. Project choice."""

COLLINEAR_WIDTH_RATIO = 1e-3
"""Ratio of width to length below which points lie on one line. Project choice."""


class AxisSense(StrEnum):
    """Orientation of the survey's axes relative to the plan's."""

    SAME = "same"
    MIRRORED = "mirrored"  # swapped, or one of them reversed
    UNDETERMINED = "undetermined"  # points in one line fit both ways


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlFit:
    """Transformation of a survey to the plan, with the residuals of its control."""

    rotation_rad: float  # counter-clockwise, of the survey onto the plan
    survey_centroid_mm: FloatArray  # (2,) of the control points
    plan_centroid_mm: FloatArray  # (2,) of the same points on the plan
    residuals_mm: FloatArray  # (n, 2) surveyed less planned, plan axes
    scale: float  # of the best fit with a scale; 1 is used
    sense: AxisSense


def fit_control(plan_mm: npt.ArrayLike, survey_mm: npt.ArrayLike) -> ControlFit:
    """Find the rotation and shift that carry surveyed control points onto the plan.

    With p and s the points of plan and survey about their centroids [1]_ [2]_::

        a = sum(s . p) / sum(s . s)     b = sum(s x p) / sum(s . s)
        rotation = atan2(b, a)          scale = sqrt(a**2 + b**2)

    Parameters
    ----------
    plan_mm : array, shape (n, 2), n >= 2
        Control points on the plan, x and y. [mm]
    survey_mm : array, shape (n, 2)
        The same points as surveyed: easting and northing. [mm]

    Returns
    -------
    ControlFit
        The rigid fit, its residuals, the scale it leaves out and the orientation of
        the axes. [rad, mm, 1]

    Raises
    ------
    EngineError
        If there are fewer than two points, or they are too close together.

    References
    ----------
    .. [1] C. D. Ghilani, *Adjustment Computations*, 5th ed., 2010, chapter 18 (from
       memory): the two-dimensional conformal coordinate transformation. Its rotation
       equals the rigid one's, because the scale only multiplies a and b.
    .. [2] S. Umeyama, "Least-squares estimation of transformation parameters between
       two point patterns", IEEE Trans. PAMI 13(4), 376-380, 1991.
    """
    plan = np.asarray(plan_mm, dtype=np.float64)
    survey = np.asarray(survey_mm, dtype=np.float64)
    if plan.shape != survey.shape or plan.ndim != 2 or plan.shape[1] != 2:
        raise ValueError("plan and survey must both be (n, 2)")
    if len(plan) < 2:
        raise EngineError("At least two control points are needed.")
    plan_middle, survey_middle = _centroid(plan), _centroid(survey)
    p, s = plan - plan_middle, survey - survey_middle
    if min(_span_mm(p), _span_mm(s)) < MIN_CONTROL_SPAN_MM:
        raise EngineError(
            f"The control points are within {MIN_CONTROL_SPAN_MM / 1000:g} m of one "
            "another; they have to span the building."
        )
    fit = fit_rigid(s[None], p[None])
    square = float(np.sum(s * s))
    across = float(np.sum(s[:, 0] * p[:, 1] - s[:, 1] * p[:, 0]))
    return ControlFit(
        rotation_rad=float(fit.rotation_rad[0]),
        survey_centroid_mm=survey_middle,
        plan_centroid_mm=plan_middle,
        residuals_mm=-fit.residuals_mm[0],
        scale=float(np.hypot(np.sum(s * p), across)) / square,
        sense=_axis_sense(p, s, fit.residuals_mm[0]),
    )


def transform_to_plan(fit: ControlFit, survey_mm: npt.ArrayLike) -> FloatArray:
    """Transform surveyed points to the plan.

    Parameters
    ----------
    fit : ControlFit
        Fit of the control points. [rad, mm]
    survey_mm : array, shape (m, 2)
        Easting and northing. [mm]

    Returns
    -------
    array, shape (m, 2)
        Plan x and y. [mm]
    """
    s = np.asarray(survey_mm, dtype=np.float64) - fit.survey_centroid_mm
    c, n = np.cos(fit.rotation_rad), np.sin(fit.rotation_rad)
    rotated = np.stack([c * s[:, 0] - n * s[:, 1], n * s[:, 0] + c * s[:, 1]], axis=-1)
    return np.asarray(fit.plan_centroid_mm + rotated)


def _centroid(points: FloatArray) -> FloatArray:
    """Compute the centroid of points, from the first of them.

    Surveys carry coordinates in the millions of metres; their sum would lose digits.
    """
    return np.asarray(points[0] + (points - points[0]).mean(axis=0))


def _span_mm(points: FloatArray) -> float:
    """Compute the span of points given about their centroid. [mm]"""
    return 2.0 * float(np.hypot(points[:, 0], points[:, 1]).max())


def _axis_sense(p: FloatArray, s: FloatArray, residuals: FloatArray) -> AxisSense:
    """Compare the fit with that of the survey's mirror image."""
    if min(_width_ratio(p), _width_ratio(s)) < COLLINEAR_WIDTH_RATIO:
        return AxisSense.UNDETERMINED
    mirrored = fit_rigid(s[None, :, ::-1], p[None]).residuals_mm[0]
    as_is, other = float(np.sum(residuals**2)), float(np.sum(mirrored**2))
    return (
        AxisSense.MIRRORED
        if other < MIRRORED_RESIDUAL_RATIO**2 * as_is
        else AxisSense.SAME
    )


def _width_ratio(points: FloatArray) -> float:
    """Compute the ratio of width to length of points, by their singular values."""
    long, wide = np.linalg.svd(points, compute_uv=False)[:2]
    return float(wide / long)
