"""Positions of the plan drawing: rod patterns with their as-built deviations."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from checks.drawings.plan_labels import (
    PlanLabel,
    label_position,
)
from checks.drawings.plan_sheet import PlanSheet
from core.svg import FloatArray, path_data
from core.vocabulary import Verdict
from jobs.anchor_plan.geometry import position_axes, rod_points, wall_axes
from jobs.anchor_plan.values import Position

MIN_INSET_UNITS = 15.0  # least distance of a pattern's middle from the steel line
MAX_MOVE_UNITS = 60.0  # a longer move is drawn this long, and marked


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


def get_pattern_centre(sheet: PlanSheet, position: Position) -> FloatArray:
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


def draw_position(
    sheet: PlanSheet, position: Position, href: Callable[[str], str] | None
) -> DrawnPosition:
    """Draw a position: rods as planned and as built, its mark and its link."""
    frame = position_axes(sheet.plan, position)
    rods = rod_points(sheet.plan, position)
    centre = get_pattern_centre(sheet, position)
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
        # A gross error must not run over the rest of the drawing.
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
