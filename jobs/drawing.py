"""The plan of a building as shapes, to scale: what `jobs/plan.svg` writes out.

Drawing units: the longer side of the outline is `SPAN` units, x to the right, y
down. Everything here is nominal. A template that draws more on top extends
`jobs/plan.svg`, fills its blocks `under` and `over`, and places points with
`PlanDrawing.at`.
"""

from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise
from math import atan2, degrees

import numpy as np
from numpy.typing import NDArray

from core.units import LengthStyle, format_length
from jobs.plan.geometry import (
    Frame,
    outline_points,
    position_frame,
    rod_points,
    to_plan,
    wall_frame,
    wall_length,
    walls,
)
from jobs.plan.model import Detail, Plan, Position

FloatArray = NDArray[np.float64]

SPAN = 1000.0  # units along the longer side of the outline
MARGIN = 205.0  # units around it, for the dimensions
RUNNING_AT = 22.0  # units outside the steel line: where running dimensions start
OVERALL_AT = 158.0  # units outside: the dimension line of the whole wall
MARK_AT = 30.0  # units inside the innermost rod: the position's mark
LABEL_EVERY = 27.0  # units: running dimensions closer than this are not written
ROD_AT_LEAST = 1.7  # units: a rod's radius on paper, so that it is seen at all
SAME_LINE = 0.1  # mm: positions this close to one line stand on it


@dataclass(frozen=True, slots=True)
class Label:
    """Words at a place, turned to be read from below or the right. [units, deg]."""

    text: str
    x: float
    y: float
    turn: float = 0.0
    anchor: str = "middle"
    length: float | None = None  # written after the text, in the reader's units [mm]


@dataclass(frozen=True, slots=True)
class Line:
    """A straight stroke, with its words where it has some. [units]."""

    x1: float
    y1: float
    x2: float
    y2: float
    label: Label | None = None


@dataclass(frozen=True, slots=True)
class RodMark:
    """One rod: where its centre is and how large it is drawn. [units]."""

    number: int
    x: float
    y: float
    radius: float


@dataclass(frozen=True, slots=True)
class PositionMark:
    """One position: its reference point, its rods and its base plate. [units]."""

    mark: str
    x: float
    y: float
    label: Label
    rods: tuple[RodMark, ...]
    plate: str  # the corners of an SVG polygon; empty where the plate is not known


@dataclass(frozen=True, slots=True, kw_only=True)
class WallMark:
    """One wall: its overall dimension and the running ones from its first corner."""

    name: str
    overall: Line
    ends: tuple[Line, Line]  # from the corners out to the overall dimension
    ticks: tuple[Line, ...]
    running: tuple[Label, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanDrawing:
    """A building's plan, ready to be written as SVG."""

    title: str
    description: str
    origin: tuple[float, float]  # the plan point drawn at 0, 0 [mm]
    scale: float  # units per mm
    width: float
    height: float
    steel_line: str
    concrete: str
    corners: tuple[Label, ...]
    walls: tuple[WallMark, ...]
    column_lines: tuple[Line, ...]
    diagonals: tuple[Line, ...]
    positions: tuple[PositionMark, ...]

    @property
    def view_box(self) -> str:
        """What the SVG shows, margins and all."""
        return (
            f"{-MARGIN:.0f} {-MARGIN:.0f} "
            f"{self.width + 2 * MARGIN:.0f} {self.height + 2 * MARGIN:.0f}"
        )

    def at(self, points: FloatArray) -> FloatArray:
        """Place plan points on the drawing.

        Parameters
        ----------
        points : array, shape (..., 2)
            On plan axes, x right and y up. [mm]

        Returns
        -------
        array, shape (..., 2)
            x right and y down. [units]
        """
        return _at(points, self.origin, self.scale)


def length_style(plan: Plan) -> LengthStyle:
    """How this plan's people write a length."""
    return "imperial" if plan.length_unit in ("in", "ft") else "metric"


def plan_drawing(plan: Plan) -> PlanDrawing:
    """Draw a plan: steel line, concrete, walls, lines, positions, dimensions."""
    outline = outline_points(plan)
    low, high = outline.min(axis=0), outline.max(axis=0)
    scale = SPAN / float((high - low).max())
    sheet = _Sheet(plan, (float(low[0]), float(high[1])), scale, length_style(plan))
    return PlanDrawing(
        title=f"Anchor plan of {plan.name}",
        description=_description(plan, sheet),
        origin=sheet.origin,
        scale=scale,
        width=float(high[0] - low[0]) * scale,
        height=float(high[1] - low[1]) * scale,
        steel_line=_polygon(sheet.at(outline)),
        concrete=_concrete(plan, sheet, outline),
        corners=sheet.corners(outline),
        walls=tuple(sheet.wall(pair) for pair in walls(plan)),
        column_lines=sheet.column_lines(),
        diagonals=tuple(sheet.diagonal(*pair) for pair in plan.diagonals),
        positions=tuple(sheet.position(position) for position in plan.positions),
    )


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A plan on its way to paper."""

    plan: Plan
    origin: tuple[float, float]
    scale: float
    style: LengthStyle

    def at(self, points: FloatArray) -> FloatArray:
        return _at(points, self.origin, self.scale)

    def length(self, millimetres: float) -> str:
        return format_length(millimetres, self.style)

    def wall(self, pair: tuple[str, str]) -> WallMark:
        """Draw the dimensions of a wall, running from its first corner."""
        frame = wall_frame(self.plan, pair)
        length = wall_length(self.plan, pair)
        along, out = _down(frame.along), _down(-frame.inward)
        start, end = self.at(to_plan(frame, np.array([[0.0, 0.0], [length, 0.0]])))
        a, b = start + out * OVERALL_AT, end + out * OVERALL_AT
        name = f"{pair[0]}–{pair[1]}"  # noqa: RUF001 - an en dash joins corners
        words = _written(name, (a + b) / 2 + out * 24, along, "middle", length)
        stands = sorted(
            position.along
            for position in self.plan.positions
            if position.wall == pair and position.along is not None
        )
        ticks, running, written_at = [], [], -LABEL_EVERY
        for distance in stands:
            foot = start + along * distance * self.scale
            tick = foot + out * RUNNING_AT
            ticks.append(_line(foot, tick))
            if distance * self.scale - written_at >= LABEL_EVERY:
                written_at = distance * self.scale
                running.append(_written("", tick + out * 6, out, "start", distance))
        return WallMark(
            name=name,
            overall=_line(a, b, words),
            ends=(
                _line(start + out * 60, a + out * 8),
                _line(end + out * 60, b + out * 8),
            ),
            ticks=tuple(ticks),
            running=tuple(running),
        )

    def corners(self, outline: FloatArray) -> tuple[Label, ...]:
        """Name each corner, outside it."""
        out = _out(outline)
        outward = _down(_unit(out + np.roll(out, 1, axis=0)))
        places = self.at(outline) + outward * 44
        return tuple(
            Label(corner.name, *_rounded(place))
            for corner, place in zip(self.plan.outline, places, strict=True)
        )

    def column_lines(self) -> tuple[Line, ...]:
        """Join positions of opposite walls that stand on one line across."""
        lines: dict[tuple[float, ...], list[FloatArray]] = defaultdict(list)
        for position in self.plan.positions:
            if position.wall is None:
                continue
            frame = position_frame(self.plan, position)
            inward = np.round(frame.inward, 6) + 0.0
            inward = inward if tuple(inward) > (0.0, 0.0) else -inward + 0.0
            aside = float(frame.origin @ np.array([-inward[1], inward[0]]))
            key = (*inward.tolist(), round(aside / SAME_LINE))
            lines[key].append(np.asarray(frame.origin))
        drawn: list[Line] = []
        for (right, up, _), points in lines.items():
            order = sorted(points, key=lambda point: float(point @ (right, up)))
            drawn.extend(
                _line(*self.at(np.array([first, second])))
                for first, second in pairwise(order)
            )
        return tuple(drawn)

    def diagonal(self, first: str, second: str) -> Line:
        """Draw a diagonal with its length, a third of the way from its first end."""
        named = {corner.name: (corner.x, corner.y) for corner in self.plan.outline}
        ends = np.array([named[first], named[second]])
        length = float(np.hypot(*(ends[1] - ends[0])))
        a, b = self.at(ends)
        along = _unit(b - a)
        place = a + (b - a) * 0.3 + np.array([along[1], -along[0]]) * 14
        return _line(a, b, _written("", place, along, "middle", length))

    def position(self, position: Position) -> PositionMark:
        """Draw a position: rods and plate to scale, its mark inside the wall."""
        detail = self.plan.details[position.detail]
        frame = position_frame(self.plan, position)
        rods = self.at(rod_points(self.plan, position))
        inward = _down(frame.inward)
        depth = max((rod.inward for rod in detail.rods), default=0.0) * self.scale
        foot = self.at(np.asarray(frame.origin)[None])[0]
        x, y = _rounded(foot + inward * (max(depth, 0.0) + MARK_AT))
        return PositionMark(
            position.mark,
            *_rounded(foot),
            Label(position.mark, x, y),
            tuple(
                RodMark(
                    rod.number,
                    *_rounded(place),
                    round(max(rod.diameter / 2 * self.scale, ROD_AT_LEAST), 2),
                )
                for rod, place in zip(detail.rods, rods, strict=True)
            ),
            self._plate(detail, frame),
        )

    def _plate(self, detail: Detail, frame: Frame) -> str:
        edges = plate_edges(detail)
        if edges is None:
            return ""
        left, near, right, far = edges
        corners = np.array([[left, near], [right, near], [right, far], [left, far]])
        return _polygon(self.at(to_plan(frame, corners)))


def plate_edges(detail: Detail) -> tuple[float, float, float, float] | None:
    """Give the plate's edges as far as a detail tells: the rods and the edge distance.

    Returns
    -------
    tuple or None
        Least along, least in, greatest along, greatest in. [mm] None where the
        detail has no edge distance.
    """
    if detail.plate is None or detail.plate.edge_distance is None or not detail.rods:
        return None
    edge = detail.plate.edge_distance
    along = [rod.along for rod in detail.rods]
    inward = [rod.inward for rod in detail.rods]
    return min(along) - edge, min(inward) - edge, max(along) + edge, max(inward) + edge


def _description(plan: Plan, sheet: _Sheet) -> str:
    lengths = ", ".join(
        f"{first} to {second} {sheet.length(wall_length(plan, (first, second)))}"
        for first, second in walls(plan)
    )
    return (
        f"Steel line with walls {lengths}; {len(plan.positions)} positions. "
        "Everything is drawn as planned; the tables beside it say the same in numbers."
    )


def _concrete(plan: Plan, sheet: _Sheet, outline: FloatArray) -> str:
    """Draw the edge of the concrete: the steel line moved out by the notch width."""
    if plan.notch is None:
        return ""
    along = _unit(
        np.roll(outline, -1, axis=0) - outline
    )  # of the wall from each corner
    out = np.column_stack([along[:, 1], -along[:, 0]])
    before = np.roll(out, 1, axis=0)
    # A mitre: along the bisector, so far that both edges are one width away.
    reach = 1 + np.einsum("ij,ij->i", out, before)[:, None]
    return _polygon(sheet.at(outline + plan.notch.width * (out + before) / reach))


def _out(outline: FloatArray) -> FloatArray:
    """Give the outward direction of the wall that starts at each corner."""
    along = _unit(np.roll(outline, -1, axis=0) - outline)
    return np.column_stack([along[:, 1], -along[:, 0]])


def _at(points: FloatArray, origin: tuple[float, float], scale: float) -> FloatArray:
    moved = np.asarray(points, dtype=float) - np.array(origin)
    return np.asarray(moved * np.array([scale, -scale]))


def _down(vectors: FloatArray) -> FloatArray:
    return np.asarray(np.asarray(vectors, dtype=float) * np.array([1.0, -1.0]))


def _unit(vectors: FloatArray) -> FloatArray:
    long = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return vectors / np.where(long > 0, long, 1.0)


def _written(
    text: str,
    place: FloatArray,
    along: FloatArray,
    anchor: str,
    length: float | None = None,
) -> Label:
    """Words along a direction, turned over where they would stand on their head."""
    turn = degrees(atan2(along[1], along[0]))
    if turn >= 90 - 1e-9 or turn < -90 - 1e-9:
        turn += -180 if turn > 0 else 180
        anchor = {"start": "end", "end": "start"}.get(anchor, anchor)
    return Label(text, *_rounded(place), round(turn, 2), anchor, length)


def _line(a: FloatArray, b: FloatArray, label: Label | None = None) -> Line:
    return Line(*_rounded(a), *_rounded(b), label)


def _polygon(points: FloatArray) -> str:
    return " ".join(f"{x:.2f},{y:.2f}" for x, y in points)


def _rounded(point: FloatArray) -> tuple[float, float]:
    return round(float(point[0]), 2) + 0.0, round(float(point[1]), 2) + 0.0
