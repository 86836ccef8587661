"""The sheet a plan is drawn on: its scale, its factor, and the corners as built."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from checks.drawings.canvas import Crowd, FloatArray, View, fit, round_down
from checks.drawings.judged import Judged
from checks.drawings.text import Units, Writer, units_of
from jobs.plan.geometry import local_rods, outline_points, rod_points
from jobs.plan.model import Plan

WIDTHS = (480.0, 640.0, 800.0, 960.0, 1200.0)
MARGIN = 78.0  # room outside the walls for marks, dimensions and corner names
NEIGHBOURS = 26.0  # least distance between marks along a wall
PATTERN = 8.0  # a rod pattern reaches this far from its middle
LEAST_PATTERN = 5.5
WORDY = 960.0  # wider sheets are crowded: a verdict is its shape there, not its word
LIMIT_DRAWN = 7.0  # a deviation at its limit is drawn about this long
USUAL_DRAWN = 20.0  # nine deviations of ten are drawn shorter than this


@dataclass(frozen=True, kw_only=True)
class PlanSheet:
    """What every part of the drawing needs."""

    plan: Plan
    judged: Judged
    view: View
    crowd: Crowd
    writer: Writer
    factor: float
    enlarge: float
    rod_radius: float  # as drawn
    wordy: bool  # whether marks carry the word of their verdict
    shifts: Mapping[str, FloatArray]  # of each corner, plan axes [mm]

    def drawn(self, deviations_mm: FloatArray) -> FloatArray:
        """Deviations, shape (n, 2) on plan axes [mm], as drawn."""
        return self.view.vectors(deviations_mm) * self.factor

    def corner(self, name: str) -> FloatArray:
        """Where a corner is drawn as built. [drawing units]"""
        corner = next(corner for corner in self.plan.outline if corner.name == name)
        nominal = self.view.points(np.array([[corner.x, corner.y]]))[0]
        return np.asarray(nominal + self.drawn(self.shifts[name][None])[0])


def lay_out(
    plan: Plan, judged: Judged, exaggerate: float | None, units: Units | None
) -> tuple[PlanSheet, float]:
    """Choose scale, factor and width for a plan; also the width."""
    corners = outline_points(plan)
    points = [corners, *(rod_points(plan, position) for position in plan.positions)]
    all_points = np.concatenate(points)
    gaps = _gaps(plan)
    # a quarter of the gaps may be tighter: door jambs, whose marks go in rows
    usual = float(np.quantile(gaps, 0.25)) if gaps else math.inf
    for width in WIDTHS:
        view, _ = fit(all_points, width, MARGIN, 1.25 * width)
        if usual * view.scale >= NEIGHBOURS:
            break
    reach = _pattern_reach(gaps, view.scale)
    shifts = {corner.name: np.zeros(2) for corner in plan.outline}
    for entry in judged.squareness.get("corners") or []:
        shifts[entry["corner"]] = np.array([entry["dx"], entry["dy"]], dtype=float)
    sheet = PlanSheet(
        plan=plan,
        judged=judged,
        view=view,
        crowd=Crowd(),
        writer=Writer(units or units_of(plan.length_unit)),
        factor=exaggerate or automatic_factor(judged, view.scale),
        enlarge=_enlargement(plan, view.scale, reach),
        rod_radius=round(0.3 * reach, 1),
        wordy=width <= WORDY,
        shifts=shifts,
    )
    return sheet, width


def automatic_factor(judged: Judged, scale: float) -> float:
    """Factor at which limits can be told apart and few deviations run away.

    Parameters
    ----------
    judged : Judged
        The result to be drawn.
    scale : float
        Of the plan. [drawing units / mm]
    """
    misses = [
        math.hypot(rod["d_along"], rod["d_in"])
        for position in judged.positions.values()
        for rod in position.get("rods", [])
        if rod.get("d_along") is not None and rod.get("d_in") is not None
    ]
    misses += [
        math.hypot(corner["dx"], corner["dy"])
        for corner in judged.squareness.get("corners") or []
    ]
    limit = judged.limit("rod_location") or judged.limit("line") or 3.175
    usual = float(np.quantile(misses, 0.9)) if misses else 0.0
    wanted = min(LIMIT_DRAWN / limit, USUAL_DRAWN / max(usual, limit)) / scale
    return max(1.0, round_down(wanted))


def _gaps(plan: Plan) -> list[float]:
    """Distances between neighbours along each wall. [mm]"""
    gaps: list[float] = []
    for wall in {position.wall for position in plan.positions if position.wall}:
        along = sorted(p.along or 0.0 for p in plan.positions if p.wall == wall)
        gaps += [after - before for before, after in pairwise(along)]
    return gaps


def _pattern_reach(gaps: list[float], scale: float) -> float:
    """How far from its middle a pattern is drawn, so that door jambs stay apart."""
    close = float(np.quantile(gaps, 0.1)) if gaps else math.inf
    return min(PATTERN, max(LEAST_PATTERN, 0.45 * close * scale))


def _enlargement(plan: Plan, scale: float, drawn_reach: float) -> float:
    """How much larger than the plan's scale rod patterns are drawn."""
    reach = 1.0
    for detail in plan.details.values():
        rods = local_rods(detail)
        reach = max(reach, float(np.hypot(*(rods - rods.mean(axis=0)).T).max()))
    return max(1.0, drawn_reach / (reach * scale))
