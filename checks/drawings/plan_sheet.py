"""The sheet a plan is drawn on: its scale, its factor, and the corners as built."""

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
MARGIN_UNITS = 78.0  # room outside the walls for marks, dimensions and corner names
MIN_MARK_SPACING_UNITS = 26.0  # least distance between marks along a wall
MAX_PATTERN_REACH_UNITS = 8.0  # a rod pattern reaches this far from its middle
MIN_PATTERN_REACH_UNITS = 5.5
MAX_WORDED_WIDTH_UNITS = (
    960.0  # wider sheets are crowded: a verdict is its shape there, not its word
)
LIMIT_LENGTH_UNITS = 7.0  # a deviation at its limit is drawn about this long
TYPICAL_LENGTH_UNITS = 20.0  # nine deviations of ten are drawn shorter than this


@dataclass(frozen=True, kw_only=True)
class PlanSheet:
    """What every part of the drawing needs."""

    plan: Plan
    results: ResultView
    viewport: Viewport
    occupied: OccupiedSpace
    lengths: QuantityFormatter
    factor: float
    pattern_scale: float
    rod_radius: float  # as drawn
    shows_words: bool  # whether marks carry the word of their verdict
    shifts: Mapping[str, FloatArray]  # of each corner, plan axes [mm]

    def scale_deviations(self, deviations_mm: FloatArray) -> FloatArray:
        """Deviations, shape (n, 2) on plan axes [mm], as drawn."""
        return self.viewport.vectors(deviations_mm) * self.factor

    def locate_corner(self, name: str) -> FloatArray:
        """Where a corner is drawn as built. [drawing units]"""
        corner = next(corner for corner in self.plan.outline if corner.name == name)
        nominal = self.viewport.points(np.array([[corner.x, corner.y]]))[0]
        return np.asarray(nominal + self.scale_deviations(self.shifts[name][None])[0])


def layout_sheet(
    plan: Plan,
    results: ResultView,
    exaggerate: float | None,
    units: DisplayStyle | None,
) -> tuple[PlanSheet, float]:
    """Choose scale, factor and width for a plan; also the width."""
    corners = outline_points(plan)
    points = [corners, *(rod_points(plan, position) for position in plan.positions)]
    all_points = np.concatenate(points)
    gaps = _list_gaps(plan)
    # a quarter of the gaps may be tighter: door jambs, whose marks go in rows
    usual = float(np.quantile(gaps, 0.25)) if gaps else math.inf
    for width in SHEET_WIDTHS_UNITS:
        view, _ = fit_viewport(all_points, width, MARGIN_UNITS, 1.25 * width)
        if usual * view.scale >= MIN_MARK_SPACING_UNITS:
            break
    reach = _pattern_reach(gaps, view.scale)
    shifts = {corner.name: np.zeros(2) for corner in plan.outline}
    for entry in results.squareness.get("corners") or []:
        shifts[entry["corner"]] = np.array([entry["dx"], entry["dy"]], dtype=float)
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
    """Factor at which limits can be told apart and few deviations run away.

    Parameters
    ----------
    results : Judged
        The result to be drawn.
    scale : float
        Of the plan. [drawing units / mm]
    """
    misses = [
        math.hypot(rod["d_along"], rod["d_in"])
        for position in results.positions.values()
        for rod in position.get("rods", [])
        if rod.get("d_along") is not None and rod.get("d_in") is not None
    ]
    misses += [
        math.hypot(corner["dx"], corner["dy"])
        for corner in results.squareness.get("corners") or []
    ]
    limit = results.get_limit("rod_location") or results.get_limit("line") or 3.175
    usual = float(np.quantile(misses, 0.9)) if misses else 0.0
    wanted = (
        min(LIMIT_LENGTH_UNITS / limit, TYPICAL_LENGTH_UNITS / max(usual, limit))
        / scale
    )
    return max(1.0, round_down(wanted))


def _list_gaps(plan: Plan) -> list[float]:
    """Distances between neighbours along each wall. [mm]"""
    gaps: list[float] = []
    for wall in {position.wall for position in plan.positions if position.wall}:
        along = sorted(p.along or 0.0 for p in plan.positions if p.wall == wall)
        gaps += [after - before for before, after in pairwise(along)]
    return gaps


def _pattern_reach(gaps: list[float], scale: float) -> float:
    """How far from its middle a pattern is drawn, so that door jambs stay apart."""
    close = float(np.quantile(gaps, 0.1)) if gaps else math.inf
    return min(
        MAX_PATTERN_REACH_UNITS, max(MIN_PATTERN_REACH_UNITS, 0.45 * close * scale)
    )


def _pattern_scale(plan: Plan, scale: float, drawn_reach: float) -> float:
    """How much larger than the plan's scale rod patterns are drawn."""
    reach = 1.0
    for detail in plan.details.values():
        rods = local_rods(detail)
        reach = max(reach, float(np.hypot(*(rods - rods.mean(axis=0)).T).max()))
    return max(1.0, drawn_reach / (reach * scale))
