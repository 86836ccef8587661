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
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from checks.drawings.canvas import Box, FloatArray, box_around, path, size_of
from checks.drawings.judged import UNMEASURED, Judged, worst
from checks.drawings.labels import (
    Dimension,
    Mark,
    corner_names,
    diagonal_label,
    mark_label,
    wall_label,
)
from checks.drawings.legend import Entry, set_in_rows
from checks.drawings.plan_sheet import PlanSheet, lay_out
from checks.drawings.text import Units
from jobs.plan.geometry import outline_points, position_frame, rod_points, wall_frame
from jobs.plan.model import Plan, Position

INSIDE = 15.0  # and its middle is at least this far inside the steel line
LONGEST_DRAWN = 60.0  # longer ones are cut short, and marked so
GRID_MM = {
    "imperial": (1524.0, 3048.0, 6096.0, 15240.0),
    "metric": (1e3, 2e3, 5e3, 1e4),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A wall, diagonal or frame line as drawn."""

    path: str
    verdict: str
    title: str
    label: Dimension | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A position as drawn: planned rods, rods as built, its mark and its link."""

    mark: str
    href: str
    title: str
    verdict: str
    label: Mark
    hit_x: float  # a place to touch, 28 units wide
    hit_y: float
    planned: tuple[tuple[float, float], ...]
    built: tuple[tuple[float, float], ...]
    moves: str  # path data from each planned rod to where it is
    cut_short: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineDrawing:
    """Everything the template writes. [drawing units]"""

    left: float
    top: float
    width: float
    height: float
    sheet_height: float
    title: str
    description: str
    size: str  # how narrow it may be shown: s, m, l, xl
    factor: float | None
    grid: float
    grid_x: float
    grid_y: float
    rod_radius: float
    concrete: str
    planned: str
    built: str
    walls: tuple[Line, ...]
    diagonals: tuple[Line, ...]
    frame_lines: tuple[Line, ...]
    corners: tuple[Mark, ...]
    places: tuple[Place, ...]
    legend: tuple[Entry, ...]


def outline_drawing(
    plan: Plan,
    result: Mapping[str, Any] | None = None,
    *,
    exaggerate: float | None = None,
    href: Callable[[str], str] | None = None,
    units: Units | None = None,
) -> OutlineDrawing:
    """Draw a building's plan and what was measured of it.

    Parameters
    ----------
    plan : Plan
        The anchor plan.
    result : mapping, optional
        `padstone.result/1`; without one the plan alone is drawn.
    exaggerate : float, optional
        How many times larger than the plan's scale deviations are drawn;
        chosen from the limits and the deviations when left out. [1]
    href : callable, optional
        Address of a position's page, from its mark.
    units : Units, optional
        How lengths are written; the plan's own unit decides when left out.
    """
    sheet, width = lay_out(plan, Judged(result), exaggerate, units)
    for position in plan.positions:
        sheet.crowd.take(box_around(_middle(sheet, position), 24.0, 24.0), "rods")
    places = tuple(_place(sheet, position, href) for position in plan.positions)
    corners = corner_names(plan, sheet.view, sheet.crowd)
    walls = tuple(_walls(sheet))
    diagonals = tuple(_diagonal(sheet, pair) for pair in plan.diagonals)
    nominal = sheet.view.points(outline_points(plan))
    grid_mm = _grid_mm(sheet)
    sheet_box = _sheet_box(sheet, width)
    legend, bottom = set_in_rows(
        _legend(sheet, places, walls + diagonals, grid_mm),
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
        description=_description(sheet, places),
        factor=sheet.factor if sheet.judged.result else None,
        size=size_of(width),
        grid=round(grid_mm * sheet.view.scale, 3),
        grid_x=round(sheet.view.origin[0], 1),
        grid_y=round(sheet.view.origin[1], 1),
        rod_radius=sheet.rod_radius,
        concrete=path(_grown(nominal, 6.0), closed=True) if plan.notch else "",
        planned=path(nominal, closed=True),
        built=_built(sheet, nominal),
        walls=walls,
        diagonals=diagonals,
        frame_lines=tuple(_frame_lines(sheet)),
        corners=corners,
        places=places,
        legend=legend,
    )


def _built(sheet: PlanSheet, nominal: FloatArray) -> str:
    """Draw the outline as built; nothing where it is built as planned."""
    shifts = np.array([sheet.shifts[corner.name] for corner in sheet.plan.outline])
    return path(nominal + sheet.drawn(shifts), closed=True) if shifts.any() else ""


def _sheet_box(sheet: PlanSheet, width: float) -> Box:
    """The part of the sheet that is shown: everything drawn, and some room."""
    edge = sheet.crowd.bounds()
    return Box(
        min(0.0, edge.left - 6),
        edge.top - 10,
        max(width, edge.right + 6),
        edge.bottom + 8,
    )


def _wall_shift(sheet: PlanSheet, position: Position) -> FloatArray:
    """How far the as-built wall carries a position along. [mm, plan axes]

    Running dimensions start at the wall's first corner, so only the turn of the
    wall counts beyond that corner's own shift, not its length.
    """
    if position.wall is None or position.along is None:
        return np.zeros(2)
    first, second = (sheet.shifts[name] for name in position.wall)
    frame = wall_frame(sheet.plan, position.wall)
    ends = {corner.name: (corner.x, corner.y) for corner in sheet.plan.outline}
    length = math.dist(ends[position.wall[0]], ends[position.wall[1]])
    across = (second - first) @ frame.inward * position.along / length
    return np.asarray(first + across * frame.inward)


def _middle(sheet: PlanSheet, position: Position) -> FloatArray:
    """Middle of a rod pattern as drawn, clear of the steel line."""
    frame = position_frame(sheet.plan, position)
    rods = rod_points(sheet.plan, position)
    centre = sheet.view.points(rods.mean(axis=0)[None])[0]
    if position.wall is None:
        return np.asarray(centre)
    inward = sheet.view.vectors(frame.inward[None])[0] / sheet.view.scale
    line = sheet.view.points(frame.origin[None])[0]
    short = INSIDE - float((centre - line) @ inward)
    return np.asarray(centre + max(0.0, short) * inward)


def _place(
    sheet: PlanSheet, position: Position, href: Callable[[str], str] | None
) -> Place:
    frame = position_frame(sheet.plan, position)
    rods = rod_points(sheet.plan, position)
    centre = _middle(sheet, position)
    inward = sheet.view.vectors(frame.inward[None])[0] / sheet.view.scale
    planned = centre + sheet.view.vectors(rods - rods.mean(axis=0)) * sheet.enlarge
    axes = np.array([frame.along, frame.inward])
    entry = sheet.judged.positions.get(position.mark, {})
    built, moves, cut_short = [], [], False
    for rod in entry.get("rods", []):
        if rod.get("d_along") is None or rod.get("d_in") is None:
            continue
        start = planned[rod["rod"] - 1]
        miss = np.array([rod["d_along"], rod["d_in"]]) @ axes
        move = sheet.drawn((miss + _wall_shift(sheet, position))[None])[0]
        length = float(np.hypot(*move))
        if length > LONGEST_DRAWN:
            move, cut_short = move * LONGEST_DRAWN / length, True
        built.append(start + move)
        moves.append(path(np.array([start, start + move])))
    verdict = sheet.judged.verdict_of(position.mark)
    return Place(
        mark=position.mark,
        href=href(position.mark) if href else "",
        title=_place_title(sheet, position.mark, verdict, entry),
        verdict=verdict,
        label=mark_label(sheet, position, centre, -inward, verdict),
        hit_x=round(float(centre[0]) - 14, 1),
        hit_y=round(float(centre[1]) - 14, 1),
        planned=_pairs(planned),
        built=_pairs(built),
        moves=" ".join(moves),
        cut_short=cut_short,
    )


def _pairs(points: Iterable[FloatArray]) -> tuple[tuple[float, float], ...]:
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in points)


def _place_title(
    sheet: PlanSheet, mark: str, verdict: str, entry: dict[str, Any]
) -> str:
    along, inward = entry.get("shift_along"), entry.get("shift_in")
    if along is None or inward is None:
        return f"{mark}: {verdict}"
    written = sheet.writer.deviation
    return f"{mark}: {verdict}; along {written(along)}, in {written(inward)}"


def _walls(sheet: PlanSheet) -> list[Line]:
    lines = []
    names = [corner.name for corner in sheet.plan.outline]
    for first, second in zip(names, names[1:] + names[:1], strict=True):
        check = sheet.judged.checks.get(f"wall:{first}-{second}")
        ends = np.array([sheet.corner(first), sheet.corner(second)])
        lines.append(
            Line(
                path=path(ends),
                verdict=check["verdict"] if check else UNMEASURED,
                title=f"Wall {first}-{second}",
                label=wall_label(sheet, (first, second), check),
            )
        )
    return lines


def _diagonal(sheet: PlanSheet, pair: tuple[str, str]) -> Line:
    check = sheet.judged.checks.get("diagonal:{}-{}".format(*pair))
    ends = np.array([sheet.corner(name) for name in pair])
    return Line(
        path=path(ends),
        verdict=check["verdict"] if check else UNMEASURED,
        title="Diagonal {}-{}".format(*pair),
        label=diagonal_label(sheet, pair, check),
    )


def _frame_lines(sheet: PlanSheet) -> list[Line]:
    """Lines across the building, from a position to the one opposite."""
    frames = {
        position.mark: position_frame(sheet.plan, position)
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
        keys = (f"line:{mark}", f"line:{opposite[1]}")
        lines.append(
            Line(
                path=path(sheet.view.points(ends)),
                verdict=worst(sheet.judged.verdict(key) for key in keys),
                title=f"Frame line {mark} to {opposite[1]}",
            )
        )
    return lines


def _grid_mm(sheet: PlanSheet) -> float:
    """Spacing of the pale grid: a round length some 20 units wide. [mm]"""
    metric = sheet.writer.units == "metric"
    steps = GRID_MM["metric" if metric else "imperial"]
    return min(steps, key=lambda step: abs(step * sheet.view.scale - 24.0))


def _grown(points: FloatArray, by: float) -> FloatArray:
    """An outline (drawing units, y down) with each edge moved outward by `by`."""
    edges = np.roll(points, -1, axis=0) - points
    edges = edges / np.hypot(*edges.T)[:, None]
    outward = np.column_stack([-edges[:, 1], edges[:, 0]])
    before = np.roll(outward, 1, axis=0)
    reach = by / (1 + np.sum(before * outward, axis=1))
    return np.asarray(points + (before + outward) * reach[:, None])


def _legend(
    sheet: PlanSheet, places: tuple[Place, ...], lines: tuple[Line, ...], grid_mm: float
) -> list[Entry]:
    entries = []
    if sheet.judged.result:
        verdicts = {place.verdict for place in places} | {
            line.verdict for line in lines
        }
        entries += [
            Entry(shape=verdict, text=verdict)
            for verdict in ("within", "outside", "remeasure", "unmeasured")
            if verdict in verdicts
        ]
        entries.append(Entry(line="built", text="steel line as built"))
    entries.append(Entry(line="planned", text="steel line as planned"))
    if sheet.plan.notch:
        entries.append(Entry(line="concrete", text="concrete, notch not to scale"))
    if sheet.judged.result:
        entries.append(Entry(text=f"Deviations drawn × {sheet.factor:g}"))  # noqa: RUF001 -- a times sign
    if any(place.cut_short for place in places):
        entries.append(Entry(line="cut-short", text="move drawn shorter than it is"))
    if sheet.enlarge > 1:
        entries.append(Entry(text=f"Rod patterns × {sheet.enlarge:.0f}"))  # noqa: RUF001 -- a times sign
    entries.append(Entry(text=f"Grid {sheet.writer.length(grid_mm)}"))
    return entries


def _description(sheet: PlanSheet, places: tuple[Place, ...]) -> str:
    if not sheet.judged.result:
        return f"{len(places)} positions as planned; nothing measured yet."
    outside = [place.mark for place in places if place.verdict == "outside"]
    said = f"Outside: {', '.join(outside)}." if outside else "No position outside."
    return f"{len(places)} positions. {said} Deviations times {sheet.factor:g}."
