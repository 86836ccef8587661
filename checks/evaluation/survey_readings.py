"""Readings of a total-station survey: its points fitted onto the plan.

Walls and diagonals are distances between surveyed corners. Everything else is measured
on the plan's axes, onto which the control points were fitted (`survey_entries`).
"""

import math
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.errors import EngineError
from checks.engine.survey_control import (
    AxisSense,
    ControlFit,
    fit_control,
    transform_to_plan,
)
from checks.evaluation.survey_entries import EntryWriter, ReadingEntry, SurveyTarget
from jobs.anchor_plan.geometry import rod_points
from jobs.anchor_plan.values import Plan
from jobs.exchange.points.point_file import MM_PER_POINT_UNIT, PointFile, PointUnit
from jobs.exchange.points.point_matching import PointMatch, PointTarget

MAX_SCALE_ERROR = 0.002
"""A survey that needs more scale is in another unit, or its control points are named
wrongly. Project choice: 2 in over 80 ft."""

MAX_CONTROL_RESIDUAL_MM = 100.0
"""A control point further from its planned point is named wrongly. Project choice."""

MAX_TARGET_SPREAD_MM = 20.0
"""Points of one target that are further apart belong to two. Project choice."""

UNIT_NAMES = {"ft": "feet", "survey_ft": "U.S. survey feet", "m": "metres", "mm": "mm"}

ControlChoice = Literal["corners", "rods", "both"]
CONTROL_TARGETS: dict[ControlChoice, tuple[PointTarget, ...]] = {
    "corners": (PointTarget.CORNER,),
    "rods": (PointTarget.ROD,),
    "both": (PointTarget.CORNER, PointTarget.ROD),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyInput:
    """A survey, and how to read it.

    Attributes
    ----------
    file : the points, matched or not.
    unit : of the file.
    control : the points that align the survey to the plan.
    excluded_points : names of points that are no control points.
    shared : members that every reading carries.
    """

    file: PointFile
    matches: Sequence[PointMatch]
    unit: PointUnit
    control: ControlChoice = "corners"
    excluded_points: Collection[str] = ()
    shared: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ControlPoint:
    """A control point with its residual on plan axes. [mm]"""

    names: str
    target: str
    used: bool
    dx: float = math.nan
    dy: float = math.nan

    @property
    def residual(self) -> float:
        """Return the distance from its planned point. [mm]"""
        return math.hypot(self.dx, self.dy)


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyReduction:
    """The readings that a survey gives.

    Attributes
    ----------
    fit : None where there is none.
    problem : why the survey gives no readings; empty where it gives some.
    entries : readings as the exchange document has them.
    """

    control: tuple[ControlPoint, ...]
    fit: ControlFit | None
    problem: str
    entries: tuple[ReadingEntry, ...]


def reduce_survey(plan: Plan, survey: SurveyInput) -> SurveyReduction:
    """Fit a survey onto the plan and reduce it to readings of the plan's checks.

    Parameters
    ----------
    plan : the plan that was surveyed. [mm]
    survey : the points and how to read them. [mm]
    """
    targets = _group_by_target(survey.matches)
    kinds, excluded = CONTROL_TARGETS[survey.control], set(survey.excluded_points)
    control = [each for each in targets if each.match.target in kinds]
    used = [each for each in control if not set(each.names) & excluded]
    planned = [_planned_point(plan, each.match) for each in used]
    try:
        fit = fit_control(
            np.array(planned).reshape(-1, 2),
            np.array([each.at for each in used]).reshape(-1, 2),
        )
    except EngineError as error:
        problem = f"{error} {_control_name_hint(plan, survey.control)}".strip()
        points = tuple(_control_point(each, each in used) for each in control)
        return SurveyReduction(control=points, fit=None, problem=problem, entries=())
    points = tuple(_control_residuals(plan, fit, control, used))
    problem = _fit_problem(fit, [point for point in points if point.used], survey)
    problem = problem or _spread_problem(targets)
    entries: tuple[ReadingEntry, ...] = ()
    if not problem:
        writer = EntryWriter(
            plan=plan,
            file=survey.file,
            unit=survey.unit,
            shared=survey.shared,
            targets=targets,
            fit=fit,
            control=[each.match.label for each in used],
        )
        entries = tuple(writer.write_all())
    return SurveyReduction(control=points, fit=fit, problem=problem, entries=entries)


def _control_name_hint(plan: Plan, control: ControlChoice) -> str:
    """Return a hint at the descriptions that make a point a control point."""
    names = [each.name for each in plan.outline[:4]] if control != "rods" else []
    if control != "corners":
        names += [f"{each.mark}.1" for each in plan.positions[:2]]
    if not names:
        return ""
    return f"Control points need a description such as {', '.join(names)} …"


def _group_by_target(matches: Sequence[PointMatch]) -> list[SurveyTarget]:
    """Average the points of each target."""
    groups: dict[tuple[PointTarget, str, int], list[PointMatch]] = defaultdict(list)
    for match in matches:
        if match.target is not None:
            groups[match.target, match.name, match.rod].append(match)
    targets = []
    for group in groups.values():
        points = [match.point for match in group]
        # Coordinates in the millions: average differences, not the numbers themselves.
        first = np.array([points[0].easting, points[0].northing])
        offsets = np.array([(p.easting, p.northing) for p in points]) - first
        heights = [p.elevation for p in points if p.elevation is not None]
        level = group[0].target in (PointTarget.PAD, PointTarget.BENCHMARK)
        spread = np.ptp(heights or [0.0]) if level else np.hypot(*np.ptp(offsets, 0))
        targets.append(
            SurveyTarget(
                match=group[0],
                names=tuple(point.name for point in points),
                at=first + offsets.mean(axis=0),
                elevation=sum(heights) / len(heights) if heights else None,
                spread=float(spread),
            )
        )
    return targets


def _planned_point(plan: Plan, match: PointMatch) -> tuple[float, float]:
    """Return the planned point of a corner or rod. [mm]"""
    if match.target is PointTarget.CORNER:
        corner = next(each for each in plan.outline if each.name == match.name)
        return corner.x, corner.y
    position = next(each for each in plan.positions if each.mark == match.name)
    x, y = rod_points(plan, position)[match.rod - 1]
    return float(x), float(y)


def _control_point(
    target: SurveyTarget, used: bool, residual: FloatArray | None = None
) -> ControlPoint:
    dx, dy = (math.nan, math.nan) if residual is None else map(float, residual)
    return ControlPoint(", ".join(target.names), target.match.label, used, dx, dy)


def _control_residuals(
    plan: Plan,
    fit: ControlFit,
    control: Sequence[SurveyTarget],
    used: Sequence[SurveyTarget],
) -> Iterator[ControlPoint]:
    fitted = transform_to_plan(fit, np.array([each.at for each in control]))
    for target, point in zip(control, fitted, strict=True):
        residual = point - np.array(_planned_point(plan, target.match))
        yield _control_point(target, target in used, residual)


def _fit_problem(
    fit: ControlFit, used: Sequence[ControlPoint], survey: SurveyInput
) -> str:
    """Describe why a fit cannot be relied on; empty where it can."""
    if fit.sense is AxisSense.MIRRORED:
        return (
            "The points fit the plan only mirrored: northing and easting are most "
            "likely exchanged. Choose the other order of columns."
        )
    off_scale = abs(fit.scale - 1.0) > MAX_SCALE_ERROR
    likely_unit = _likely_unit(fit.scale, survey) if off_scale else ""
    worst = max(used, key=lambda point: point.residual)
    if worst.residual > MAX_CONTROL_RESIDUAL_MM and not likely_unit:
        return (
            f"{worst.target} (point {worst.names}) is {worst.residual:.0f} mm from its "
            f"planned point, more than {MAX_CONTROL_RESIDUAL_MM:.0f} mm. It is another "
            "point, or no control point. Leave it out, or correct its name."
        )
    if off_scale:
        return (
            f"The survey fits the plan only when multiplied by {fit.scale:.5g}, more "
            f"than {MAX_SCALE_ERROR:.1%} off: "
            f"{likely_unit or 'check which points are named as control points'}."
        )
    return ""


def _spread_problem(targets: Sequence[SurveyTarget]) -> str:
    """Describe the target whose points are too far apart; empty where none is."""
    worst = max(targets, key=lambda target: target.spread)
    if worst.spread <= MAX_TARGET_SPREAD_MM:
        return ""
    return (
        f"{worst.match.label}: {worst.point_label} are {worst.spread:.0f} mm apart, "
        f"more than {MAX_TARGET_SPREAD_MM:.0f} mm. They belong to two things: correct "
        "one name."
    )


def _likely_unit(scale: float, survey: SurveyInput) -> str:
    """Describe the unit that explains a scale; empty where none does."""
    wanted = float(MM_PER_POINT_UNIT[survey.unit]) * scale
    for unit, mm in MM_PER_POINT_UNIT.items():
        if unit != survey.unit and abs(wanted / float(mm) - 1.0) < MAX_SCALE_ERROR:
            return f"its unit is most likely {UNIT_NAMES[unit]}"
    return ""
