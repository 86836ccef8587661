"""Sheet of the plan drawing: its scale, its factor, and the corners as built."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from checks.drawings.canvas import OccupiedSpace, fit_viewport, round_down
from checks.drawings.result_view import ResultView
from core.formatting import DisplayStyle, QuantityFormatter, get_default_style
from core.svg import FloatArray, Viewport
from jobs.anchor_plan.geometry import local_rods, outline_points, rod_points
from jobs.anchor_plan.values import Plan

SHEET_WIDTHS_UNITS = (480.0, 640.0, 800.0, 960.0, 1200.0)
MARGIN_UNITS = 78.0  # outside the walls, for marks, dimensions and corner names
MIN_MARK_SPACING_UNITS = 26.0  # least distance between marks along a wall
MAX_PATTERN_REACH_UNITS = 8.0  # from the middle of a rod pattern to its edge
MIN_PATTERN_REACH_UNITS = 5.5
# Wider sheets are crowded: there a verdict is shown by its shape alone.
MAX_WORDED_WIDTH_UNITS = 960.0
LIMIT_LENGTH_UNITS = 7.0  # a deviation at its limit is drawn about this long
TYPICAL_LENGTH_UNITS = 20.0  # nine deviations of ten are drawn shorter than this


@dataclass(frozen=True, kw_only=True)
class PlanSheet:
    """Values that all parts of the drawing share."""

    plan: Plan
    results: ResultView
    viewport: Viewport
    occupied: OccupiedSpace
    lengths: QuantityFormatter
    factor: float
    pattern_scale: float
    rod_radius: float  # as drawn
    shows_words: bool  # True where marks carry the label of their verdict
    shifts: Mapping[str, FloatArray]  # of each corner, plan axes [mm]

    def scale_deviations(self, deviations_mm: FloatArray) -> FloatArray:
        """Convert deviations, shape (n, 2) on plan axes [mm], to drawing units."""
        return self.viewport.vectors(deviations_mm) * self.factor

    def locate_corner(self, name: str) -> FloatArray:
        """Return where a corner is drawn as built. [drawing units]"""
        corner = next(corner for corner in self.plan.outline if corner.name == name)
        nominal = self.viewport.points(np.array([[corner.x, corner.y]]))[0]
        return np.asarray(nominal + self.scale_deviations(self.shifts[name][None])[0])


def layout_sheet(
    plan: Plan,
    results: ResultView,
    exaggerate: float | None,
    units: DisplayStyle | None,
) -> tuple[PlanSheet, float]:
    """Choose the scale, factor and width for a plan; return the sheet and its width."""
    corners = outline_points(plan)
    points = [corners, *(rod_points(plan, position) for position in plan.positions)]
    all_points = np.concatenate(points)
    gaps = _list_gaps(plan)
    # A quarter of the gaps may be tighter: marks of door jambs are set in rows.
    usual = float(np.quantile(gaps, 0.25)) if gaps else math.inf
    for width in SHEET_WIDTHS_UNITS:
        view, _ = fit_viewport(all_points, width, MARGIN_UNITS, 1.25 * width)
        if usual * view.scale >= MIN_MARK_SPACING_UNITS:
            break
    reach = _pattern_reach(gaps, view.scale)
    shifts = {corner.name: np.zeros(2) for corner in plan.outline}
    for name, shift in _list_corner_shifts(results):
        shifts[name] = np.array(shift)
    sheet = PlanSheet(
        plan=plan,
        results=results,
        viewport=view,
        occupied=OccupiedSpace(),
        lengths=QuantityFormatter(units or get_default_style(plan.length_unit)),
        factor=exaggerate or choose_factor(results, view.scale),
        pattern_scale=_pattern_scale(plan, view.scale, reach),
        rod_radius=round(0.3 * reach, 1),
        shows_words=width <= MAX_WORDED_WIDTH_UNITS,
        shifts=shifts,
    )
    return sheet, width


def choose_factor(results: ResultView, scale: float) -> float:
    """Choose a factor that shows limits clearly and keeps most deviations short.

    Parameters
    ----------
    results : ResultView
        The result to draw.
    scale : float
        Of the plan. [drawing units / mm]
    """
    misses = [
        math.hypot(d_along, d_in)
        for position in results.positions.values()
        for rod in position["rods"]
        if (d_along := rod.get("d_along")) is not None
        and (d_in := rod.get("d_in")) is not None
    ]
    misses += [math.hypot(*shift) for _, shift in _list_corner_shifts(results)]
    limit = results.get_limit("rod_location") or results.get_limit("line") or 3.175
    usual = float(np.quantile(misses, 0.9)) if misses else 0.0
    wanted = (
        min(LIMIT_LENGTH_UNITS / limit, TYPICAL_LENGTH_UNITS / max(usual, limit))
        / scale
    )
    return max(1.0, round_down(wanted))


def _list_corner_shifts(
    results: ResultView,
) -> list[tuple[str, tuple[float, float]]]:
    """List the corners of the adjusted outline with their shifts. [mm, plan axes]"""
    square = results.squareness
    return [
        (corner["corner"], (dx, dy))
        for corner in (square.get("corners") if square else None) or []
        if (dx := corner.get("dx")) is not None and (dy := corner.get("dy")) is not None
    ]


def _list_gaps(plan: Plan) -> list[float]:
    """List the distances between neighbours along each wall. [mm]"""
    gaps: list[float] = []
    for wall in {position.wall for position in plan.positions if position.wall}:
        along = sorted(p.along or 0.0 for p in plan.positions if p.wall == wall)
        gaps += [after - before for before, after in pairwise(along)]
    return gaps


def _pattern_reach(gaps: list[float], scale: float) -> float:
    """Choose the drawn half-size of a pattern, so that door jambs do not overlap."""
    close = float(np.quantile(gaps, 0.1)) if gaps else math.inf
    return min(
        MAX_PATTERN_REACH_UNITS, max(MIN_PATTERN_REACH_UNITS, 0.45 * close * scale)
    )


def _pattern_scale(plan: Plan, scale: float, drawn_reach: float) -> float:
    """Compute the factor by which rod patterns are enlarged beyond the plan's scale."""
    reach = 1.0
    for detail in plan.details.values():
        rods = local_rods(detail)
        reach = max(reach, float(np.hypot(*(rods - rods.mean(axis=0)).T).max()))
    return max(1.0, drawn_reach / (reach * scale))
