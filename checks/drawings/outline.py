"""Drawing of the plan with the foundation as built, its deviations exaggerated.

The steel line as planned is thin, as built is thick; the concrete beyond it and the
walls, diagonals and frame lines are drawn once, and every position as its rod pattern
enlarged about its place on the plan. A deviation of d mm is drawn `factor` x d mm
long at the scale of the plan.

          NW ---------------- NE      as built = planned + factor * deviation
           |   o o      o o    |      corners from the adjusted outline, positions
           |                   |      along the wall as it was built
          SW ---------------- SE
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from checks.drawings.canvas import (
    Box,
    bounding_box,
    get_size_class,
)
from checks.drawings.legend import LegendEntry, layout_entries, list_verdict_entries
from checks.drawings.plan_labels import (
    PlanLabel,
    label_corners,
)
from checks.drawings.plan_lines import (
    DrawnLine,
    draw_diagonal,
    draw_frame_lines,
    draw_walls,
)
from checks.drawings.plan_positions import (
    DrawnPosition,
    draw_position,
    get_pattern_centre,
)
from checks.drawings.plan_sheet import PlanSheet, layout_sheet
from checks.drawings.result_view import ResultView
from core.formatting import TIMES, DisplayStyle
from core.svg import FloatArray, offset_outline, path_data
from core.vocabulary import Verdict
from jobs.anchor_plan.geometry import (
    outline_points,
)
from jobs.anchor_plan.values import Plan
from jobs.exchange.result.document import ResultDocument

NOTCH_UNITS = 6.0  # drawn width of the notch, whatever its scale
GRID_STEPS_MM = {
    "imperial": (1524.0, 3048.0, 6096.0, 15240.0),
    "metric": (1e3, 2e3, 5e3, 1e4),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineDrawing:
    """Values that the template writes. [drawing units]"""

    left: float
    top: float
    width: float
    height: float
    sheet_height: float
    title: str
    description: str
    size: str  # CSS class suffix: s, m, l, xl
    factor: float | None
    grid: float
    grid_x: float
    grid_y: float
    rod_radius: float
    concrete: str
    planned: str
    built: str
    walls: tuple[DrawnLine, ...]
    diagonals: tuple[DrawnLine, ...]
    frame_lines: tuple[DrawnLine, ...]
    corners: tuple[PlanLabel, ...]
    positions: tuple[DrawnPosition, ...]
    legend: tuple[LegendEntry, ...]


def draw_outline(
    plan: Plan,
    result: ResultDocument | None = None,
    *,
    exaggerate: float | None = None,
    href: Callable[[str], str] | None = None,
    units: DisplayStyle | None = None,
) -> OutlineDrawing:
    """Draw the plan of a building with its as-built deviations.

    Parameters
    ----------
    plan : Plan
        The anchor plan.
    result : ResultDocument, optional
        Without one the plan alone is drawn.
    exaggerate : float, optional
        Factor by which deviations are drawn larger than the plan's scale; chosen
        from the limits and the deviations when left out. [1]
    href : callable, optional
        Address of a position's page, from its mark.
    units : DisplayStyle, optional
        Notation of lengths; that of the plan's own unit when left out.
    """
    sheet, width = layout_sheet(plan, ResultView(result), exaggerate, units)
    # Keep labels away from all rod patterns, those of later positions too.
    for position in plan.positions:
        sheet.occupied.occupy(
            bounding_box(get_pattern_centre(sheet, position), 24.0, 24.0), "rods"
        )
    places = tuple(draw_position(sheet, position, href) for position in plan.positions)
    corners = label_corners(plan, sheet.viewport, sheet.occupied)
    walls = tuple(draw_walls(sheet))
    diagonals = tuple(draw_diagonal(sheet, pair) for pair in plan.diagonals)
    nominal = sheet.viewport.points(outline_points(plan))
    grid_mm = _choose_grid_mm(sheet)
    sheet_box = _sheet_box(sheet, width)
    legend, bottom = layout_entries(
        _list_legend(sheet, places, walls + diagonals, grid_mm),
        sheet_box.right,
        sheet_box.bottom + 4,
        sheet_box.left + 12,
    )
    return OutlineDrawing(
        left=round(sheet_box.left, 1),
        top=round(sheet_box.top, 1),
        width=round(sheet_box.right - sheet_box.left, 1),
        height=round(bottom - sheet_box.top, 1),
        sheet_height=round(sheet_box.bottom - sheet_box.top, 1),
        title=f"Plan of {plan.name}",
        description=_describe_drawing(sheet, places),
        factor=sheet.factor if sheet.results.result else None,
        size=get_size_class(width),
        grid=round(grid_mm * sheet.viewport.scale, 3),
        grid_x=round(sheet.viewport.origin[0], 1),
        grid_y=round(sheet.viewport.origin[1], 1),
        rod_radius=sheet.rod_radius,
        concrete=_concrete_path(sheet) if plan.notch else "",
        planned=path_data(nominal, closed=True),
        built=_as_built_path(sheet, nominal),
        walls=walls,
        diagonals=diagonals,
        frame_lines=tuple(draw_frame_lines(sheet)),
        corners=corners,
        positions=places,
        legend=legend,
    )


def _as_built_path(sheet: PlanSheet, nominal: FloatArray) -> str:
    """Draw the outline as built; empty where no corner is off."""
    shifts = np.array([sheet.shifts[corner.name] for corner in sheet.plan.outline])
    return (
        path_data(nominal + sheet.scale_deviations(shifts), closed=True)
        if shifts.any()
        else ""
    )


def _sheet_box(sheet: PlanSheet, width: float) -> Box:
    """Return the box of everything drawn, with a margin."""
    edge = sheet.occupied.bounds()
    return Box(
        min(0.0, edge.left - 6),
        edge.top - 10,
        max(width, edge.right + 6),
        edge.bottom + 8,
    )


def _choose_grid_mm(sheet: PlanSheet) -> float:
    """Choose the spacing of the pale grid: a round length of some 24 units. [mm]"""
    metric = sheet.lengths.style == "metric"
    steps = GRID_STEPS_MM["metric" if metric else "imperial"]
    return min(steps, key=lambda step: abs(step * sheet.viewport.scale - 24.0))


def _concrete_path(sheet: PlanSheet) -> str:
    """Draw the edge of the concrete; the notch is too narrow to be drawn to scale."""
    outline = outline_points(sheet.plan)
    edge = offset_outline(outline, NOTCH_UNITS / sheet.viewport.scale)
    return path_data(sheet.viewport.points(edge), closed=True)


def _list_legend(
    sheet: PlanSheet,
    places: tuple[DrawnPosition, ...],
    lines: tuple[DrawnLine, ...],
    grid_mm: float,
) -> list[LegendEntry]:
    entries: list[LegendEntry] = []
    if sheet.results.result:
        verdicts = {place.verdict for place in places} | {
            line.verdict for line in lines
        }
        entries += list_verdict_entries(verdicts)
        entries.append(LegendEntry(line_class="built", text="steel line as built"))
    entries.append(LegendEntry(line_class="planned", text="steel line as planned"))
    if sheet.plan.notch:
        entries.append(
            LegendEntry(line_class="concrete", text="concrete, notch not to scale")
        )
    if sheet.results.result:
        entries.append(LegendEntry(text=f"Deviations drawn {TIMES} {sheet.factor:g}"))
    if any(place.cut_short for place in places):
        entries.append(
            LegendEntry(line_class="cut-short", text="move drawn shorter than it is")
        )
    if sheet.pattern_scale > 1:
        entries.append(
            LegendEntry(text=f"Rod patterns {TIMES} {sheet.pattern_scale:.0f}")
        )
    entries.append(LegendEntry(text=f"Grid {sheet.lengths.format_length(grid_mm)}"))
    return entries


def _describe_drawing(sheet: PlanSheet, places: tuple[DrawnPosition, ...]) -> str:
    if not sheet.results.result:
        return f"{len(places)} positions as planned; nothing measured yet."
    outside = [place.mark for place in places if place.verdict == Verdict.OUTSIDE]
    summary = f"Outside: {', '.join(outside)}." if outside else "No position outside."
    return f"{len(places)} positions. {summary} Deviations times {sheet.factor:g}."
