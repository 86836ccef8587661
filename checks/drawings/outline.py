"""The plan with the foundation as built, its deviations drawn larger than they are.

The steel line as planned is thin, as built is thick; the concrete beyond it and the
walls, diagonals and frame lines are drawn once, and every position as its rod pattern
enlarged about its place on the plan. A deviation of d mm is drawn `factor` x d mm
long at the scale of the plan.

          NW ---------------- NE      as built = planned + factor * deviation
           |   o o      o o    |      corners from the adjusted outline, positions
           |                   |      along the wall as it was built
          SW ---------------- SE
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from checks.drawings.canvas import (
    Box,
    bounding_box,
    get_size_class,
)
from checks.drawings.legend import LegendEntry, layout_entries, list_verdict_entries
from checks.drawings.plan_labels import (
    DimensionLabel,
    PlanLabel,
    label_corners,
    label_diagonal,
    label_position,
    label_wall,
)
from checks.drawings.plan_sheet import PlanSheet, layout_sheet
from checks.drawings.result_view import ResultView, get_worst_verdict
from core.formatting import TIMES, DisplayStyle
from core.svg import FloatArray, offset_outline, path_data
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.geometry import (
    outline_points,
    position_axes,
    rod_points,
    wall_axes,
)
from jobs.anchor_plan.values import Plan, Position
from jobs.exchange.result.document import ResultDocument

NOTCH_UNITS = 6.0  # drawn width of the notch, whatever its scale
MIN_INSET_UNITS = 15.0  # least distance of a pattern's middle from the steel line
MAX_MOVE_UNITS = 60.0  # a longer move is drawn this long, and marked
GRID_STEPS_MM = {
    "imperial": (1524.0, 3048.0, 6096.0, 15240.0),
    "metric": (1e3, 2e3, 5e3, 1e4),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnLine:
    """A wall, diagonal or frame line as drawn."""

    path: str
    verdict: Verdict
    title: str
    label: DimensionLabel | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnPosition:
    """A position as drawn: planned rods, rods as built, its mark and its link."""

    mark: str
    href: str
    title: str
    verdict: Verdict
    label: PlanLabel
    hit_x: float  # touch target, 28 units wide
    hit_y: float
    planned: tuple[tuple[float, float], ...]
    built: tuple[tuple[float, float], ...]
    moves: str  # path data from each planned rod to where it is
    cut_short: bool


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
    for position in plan.positions:
        sheet.occupied.occupy(
            bounding_box(_pattern_centre(sheet, position), 24.0, 24.0), "rods"
        )
    places = tuple(_draw_position(sheet, position, href) for position in plan.positions)
    corners = label_corners(plan, sheet.viewport, sheet.occupied)
    walls = tuple(_draw_walls(sheet))
    diagonals = tuple(_draw_diagonal(sheet, pair) for pair in plan.diagonals)
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
        frame_lines=tuple(_draw_frame_lines(sheet)),
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


def _wall_shift(sheet: PlanSheet, position: Position) -> FloatArray:
    """Compute how far a position moves with its as-built wall. [mm, plan axes]

    Running dimensions start at the wall's first corner. A position therefore moves
    with that corner and with the rotation of the wall, but not with its length.
    """
    if position.wall is None or position.along is None:
        return np.zeros(2)
    first, second = (sheet.shifts[name] for name in position.wall)
    frame = wall_axes(sheet.plan, position.wall)
    ends = {corner.name: (corner.x, corner.y) for corner in sheet.plan.outline}
    length = math.dist(ends[position.wall[0]], ends[position.wall[1]])
    across = (second - first) @ frame.inward * position.along / length
    return np.asarray(first + across * frame.inward)


def _pattern_centre(sheet: PlanSheet, position: Position) -> FloatArray:
    """Return the drawn middle of a rod pattern, clear of the steel line."""
    frame = position_axes(sheet.plan, position)
    rods = rod_points(sheet.plan, position)
    centre = sheet.viewport.points(rods.mean(axis=0)[None])[0]
    if position.wall is None:
        return np.asarray(centre)
    inward = sheet.viewport.vectors(frame.inward[None])[0] / sheet.viewport.scale
    line = sheet.viewport.points(frame.origin[None])[0]
    short = MIN_INSET_UNITS - float((centre - line) @ inward)
    return np.asarray(centre + max(0.0, short) * inward)


def _draw_position(
    sheet: PlanSheet, position: Position, href: Callable[[str], str] | None
) -> DrawnPosition:
    frame = position_axes(sheet.plan, position)
    rods = rod_points(sheet.plan, position)
    centre = _pattern_centre(sheet, position)
    inward = sheet.viewport.vectors(frame.inward[None])[0] / sheet.viewport.scale
    planned = (
        centre + sheet.viewport.vectors(rods - rods.mean(axis=0)) * sheet.pattern_scale
    )
    axes = np.array([frame.along, frame.inward])
    built, moves, cut_short = [], [], False
    for rod in sheet.results.get_rods(position.mark):
        d_along, d_in = rod.get("d_along"), rod.get("d_in")
        if d_along is None or d_in is None:
            continue
        start = planned[rod["rod"] - 1]
        miss = np.array([d_along, d_in]) @ axes
        move = sheet.scale_deviations((miss + _wall_shift(sheet, position))[None])[0]
        length = float(np.hypot(*move))
        if length > MAX_MOVE_UNITS:
            move, cut_short = move * MAX_MOVE_UNITS / length, True
        built.append(start + move)
        moves.append(path_data(np.array([start, start + move])))
    verdict = sheet.results.get_position_verdict(position.mark)
    return DrawnPosition(
        mark=position.mark,
        href=href(position.mark) if href else "",
        title=_position_title(sheet, position.mark, verdict),
        verdict=verdict,
        label=label_position(sheet, position, centre, -inward, verdict),
        hit_x=round(float(centre[0]) - 14, 1),
        hit_y=round(float(centre[1]) - 14, 1),
        planned=_rounded_points(planned),
        built=_rounded_points(built),
        moves=" ".join(moves),
        cut_short=cut_short,
    )


def _rounded_points(points: Iterable[FloatArray]) -> tuple[tuple[float, float], ...]:
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in points)


def _position_title(sheet: PlanSheet, mark: str, verdict: Verdict) -> str:
    entry = sheet.results.positions.get(mark)
    along = entry.get("shift_along") if entry else None
    inward = entry.get("shift_in") if entry else None
    if along is None or inward is None:
        return f"{mark}: {verdict.label}"
    write = sheet.lengths.format_deviation
    return f"{mark}: {verdict.label}; along {write(along)}, in {write(inward)}"


def _draw_walls(sheet: PlanSheet) -> list[DrawnLine]:
    lines = []
    names = [corner.name for corner in sheet.plan.outline]
    for first, second in zip(names, names[1:] + names[:1], strict=True):
        key = CheckKey.for_corners(CheckKind.WALL, (first, second))
        ends = np.array([sheet.locate_corner(first), sheet.locate_corner(second)])
        lines.append(
            DrawnLine(
                path=path_data(ends),
                verdict=sheet.results.get_verdict(key),
                title=f"Wall {first}-{second}",
                label=label_wall(sheet, (first, second), sheet.results.checks.get(key)),
            )
        )
    return lines


def _draw_diagonal(sheet: PlanSheet, pair: tuple[str, str]) -> DrawnLine:
    key = CheckKey.for_corners(CheckKind.DIAGONAL, pair)
    ends = np.array([sheet.locate_corner(name) for name in pair])
    return DrawnLine(
        path=path_data(ends),
        verdict=sheet.results.get_verdict(key),
        title="Diagonal {}-{}".format(*pair),
        label=label_diagonal(sheet, pair, sheet.results.checks.get(key)),
    )


def _draw_frame_lines(sheet: PlanSheet) -> list[DrawnLine]:
    """Draw the lines across the building, from a position to the one opposite."""
    frames = {
        position.mark: position_axes(sheet.plan, position)
        for position in sheet.plan.positions
        if position.wall is not None
    }
    lines = []
    for mark, frame in frames.items():
        opposite: tuple[float, str] | None = None
        for other, facing in frames.items():
            across = facing.origin - frame.origin
            apart = float(across @ frame.inward)
            if (
                apart > 1.0
                and abs(float(across @ frame.along)) < 1.0
                and float(facing.inward @ frame.inward) < -1 + 1e-9
            ):
                opposite = min(opposite or (math.inf, ""), (apart, other))
        if opposite is None or mark > opposite[1]:
            continue
        ends = np.array([frame.origin, frames[opposite[1]].origin])
        keys = (
            CheckKey.for_position(CheckKind.LINE, each) for each in (mark, opposite[1])
        )
        lines.append(
            DrawnLine(
                path=path_data(sheet.viewport.points(ends)),
                verdict=get_worst_verdict(
                    sheet.results.get_verdict(key) for key in keys
                ),
                title=f"Frame line {mark} to {opposite[1]}",
            )
        )
    return lines


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
