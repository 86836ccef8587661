"""Drawing of a building's plan, to scale, for `jobs/plan.svg`.

Drawing units: the longer side of the outline is `LONGER_SIDE` units, x to the right, y
down. Everything is nominal.
"""

from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise
from math import atan2, degrees

import numpy as np

from core.svg import (
    FloatArray,
    Viewport,
    flip_y,
    normalise,
    offset_outline,
    polygon_points,
    round_point,
    upright_angle,
)
from core.units import LengthStyle, format_length
from jobs.anchor_plan.geometry import (
    LocalAxes,
    list_walls,
    outline_points,
    position_axes,
    rod_points,
    to_plan_axes,
    wall_axes,
    wall_length,
)
from jobs.anchor_plan.values import Detail, Plan, Position

LONGER_SIDE = 1000.0  # units along the longer side of the outline
MARGIN = 205.0  # units around it, for the dimensions
RUNNING_DIMENSION_OFFSET = (
    22.0  # units outside the steel line: where running dimensions start
)
OVERALL_DIMENSION_OFFSET = 158.0  # units outside: the dimension line of the whole wall
MARK_OFFSET = 30.0  # units inside the innermost rod: the position's mark
MIN_LABEL_SPACING = 27.0  # units: running dimensions closer than this are not written
MIN_ROD_RADIUS = 1.7  # units: a rod's radius on paper, so that it is seen at all
SAME_LINE_MM = 0.1  # mm: positions this close to one line stand on it


@dataclass(frozen=True, slots=True)
class DrawingText:
    """Text at a point, turned to be read from below or the right. [units, deg]."""

    text: str
    x: float
    y: float
    rotation: float = 0.0
    anchor: str = "middle"
    length: float | None = None  # shown after the text, in the reader's units [mm]


@dataclass(frozen=True, slots=True)
class DrawingLine:
    """A straight line with an optional label. [units]."""

    x1: float
    y1: float
    x2: float
    y2: float
    label: DrawingText | None = None


@dataclass(frozen=True, slots=True)
class PlanRod:
    """A rod: centre and radius. [units]."""

    number: int
    x: float
    y: float
    radius: float


@dataclass(frozen=True, slots=True)
class PlanPosition:
    """A position: reference point, rods and base plate. [units]."""

    mark: str
    x: float
    y: float
    label: DrawingText
    rods: tuple[PlanRod, ...]
    plate: str  # points of an SVG polygon; empty if the plate is unknown


@dataclass(frozen=True, slots=True, kw_only=True)
class WallDimensions:
    """A wall's overall dimension, and running dimensions from its first corner."""

    name: str
    overall: DrawingLine
    ends: tuple[DrawingLine, DrawingLine]  # extension lines of the overall dimension
    ticks: tuple[DrawingLine, ...]
    running: tuple[DrawingText, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanDrawing:
    """Shapes of a building's plan."""

    title: str
    description: str
    viewport: Viewport
    width: float
    height: float
    steel_line: str
    concrete: str
    corners: tuple[DrawingText, ...]
    walls: tuple[WallDimensions, ...]
    column_lines: tuple[DrawingLine, ...]
    diagonals: tuple[DrawingLine, ...]
    positions: tuple[PlanPosition, ...]

    @property
    def view_box(self) -> str:
        """The SVG `viewBox`, with margins."""
        return (
            f"{-MARGIN:.0f} {-MARGIN:.0f} "
            f"{self.width + 2 * MARGIN:.0f} {self.height + 2 * MARGIN:.0f}"
        )

    def to_drawing(self, points: FloatArray) -> FloatArray:
        """Convert plan points to drawing units.

        Parameters
        ----------
        points : array, shape (..., 2)
            On plan axes, x right and y up. [mm]

        Returns
        -------
        array, shape (..., 2)
            x right and y down. [units]
        """
        return self.viewport.points(points)


def plan_length_style(plan: Plan) -> LengthStyle:
    """Return the style in which the plan's lengths are written."""
    return "imperial" if plan.length_unit in ("in", "ft") else "metric"


def draw_plan(plan: Plan) -> PlanDrawing:
    """Draw a plan: steel line, concrete, walls, column lines, positions, dimensions."""
    outline = outline_points(plan)
    low, high = outline.min(axis=0), outline.max(axis=0)
    scale = LONGER_SIDE / float((high - low).max())
    viewport = Viewport(
        scale=scale, origin=(-float(low[0]) * scale, float(high[1]) * scale)
    )
    sheet = _PlanLayout(plan, viewport, plan_length_style(plan))
    return PlanDrawing(
        title=f"Anchor plan of {plan.name}",
        description=_describe_plan(plan, sheet),
        viewport=viewport,
        width=float(high[0] - low[0]) * scale,
        height=float(high[1] - low[1]) * scale,
        steel_line=polygon_points(sheet.to_drawing(outline)),
        concrete=_concrete_polygon(plan, sheet, outline),
        corners=sheet.make_corner_labels(outline),
        walls=tuple(sheet.make_wall(pair) for pair in list_walls(plan)),
        column_lines=sheet.make_column_lines(),
        diagonals=tuple(sheet.make_diagonal(*pair) for pair in plan.diagonals),
        positions=tuple(sheet.make_position(position) for position in plan.positions),
    )


@dataclass(frozen=True, slots=True)
class _PlanLayout:
    """Scale and origin of a plan's drawing."""

    plan: Plan
    viewport: Viewport
    style: LengthStyle

    @property
    def scale(self) -> float:
        """Drawing units per mm."""
        return self.viewport.scale

    def to_drawing(self, points: FloatArray) -> FloatArray:
        return self.viewport.points(points)

    def format_length(self, millimetres: float) -> str:
        return format_length(millimetres, self.style)

    def make_wall(self, pair: tuple[str, str]) -> WallDimensions:
        """Draw the overall and running dimensions of a wall."""
        frame = wall_axes(self.plan, pair)
        length = wall_length(self.plan, pair)
        along, out = flip_y(frame.along), flip_y(-frame.inward)
        start, end = self.to_drawing(
            to_plan_axes(frame, np.array([[0.0, 0.0], [length, 0.0]]))
        )
        a, b = (
            start + out * OVERALL_DIMENSION_OFFSET,
            end + out * OVERALL_DIMENSION_OFFSET,
        )
        name = f"{pair[0]}–{pair[1]}"  # noqa: RUF001 - an en dash joins corners
        words = _rotated_label(name, (a + b) / 2 + out * 24, along, "middle", length)
        stands = sorted(
            position.along
            for position in self.plan.positions
            if position.wall == pair and position.along is not None
        )
        ticks, running, written_at = [], [], -MIN_LABEL_SPACING
        for distance in stands:
            foot = start + along * distance * self.scale
            tick = foot + out * RUNNING_DIMENSION_OFFSET
            ticks.append(_make_line(foot, tick))
            if distance * self.scale - written_at >= MIN_LABEL_SPACING:
                written_at = distance * self.scale
                running.append(
                    _rotated_label("", tick + out * 6, out, "start", distance)
                )
        return WallDimensions(
            name=name,
            overall=_make_line(a, b, words),
            ends=(
                _make_line(start + out * 60, a + out * 8),
                _make_line(end + out * 60, b + out * 8),
            ),
            ticks=tuple(ticks),
            running=tuple(running),
        )

    def make_corner_labels(self, outline: FloatArray) -> tuple[DrawingText, ...]:
        """Label each corner, outside the outline."""
        out = _outward_directions(outline)
        outward = flip_y(normalise(out + np.roll(out, 1, axis=0)))
        places = self.to_drawing(outline) + outward * 44
        return tuple(
            DrawingText(corner.name, *round_point(place))
            for corner, place in zip(self.plan.outline, places, strict=True)
        )

    def make_column_lines(self) -> tuple[DrawingLine, ...]:
        """Draw the lines through positions that stand opposite each other."""
        lines: dict[tuple[float, ...], list[FloatArray]] = defaultdict(list)
        for position in self.plan.positions:
            if position.wall is None:
                continue
            frame = position_axes(self.plan, position)
            inward = np.round(frame.inward, 6) + 0.0
            # Opposite walls point at each other: one sign, so that both match.
            inward = inward if tuple(inward) > (0.0, 0.0) else -inward + 0.0
            aside = float(frame.origin @ np.array([-inward[1], inward[0]]))
            key = (*inward.tolist(), round(aside / SAME_LINE_MM))
            lines[key].append(np.asarray(frame.origin))
        drawn: list[DrawingLine] = []
        for (right, up, _), points in lines.items():
            order = sorted(points, key=lambda point: float(point @ (right, up)))
            drawn.extend(
                _make_line(*self.to_drawing(np.array([first, second])))
                for first, second in pairwise(order)
            )
        return tuple(drawn)

    def make_diagonal(self, first: str, second: str) -> DrawingLine:
        """Draw a diagonal, its length a third of the way from its first end."""
        named = {corner.name: (corner.x, corner.y) for corner in self.plan.outline}
        ends = np.array([named[first], named[second]])
        length = float(np.hypot(*(ends[1] - ends[0])))
        a, b = self.to_drawing(ends)
        along = normalise(b - a)
        place = a + (b - a) * 0.3 + np.array([along[1], -along[0]]) * 14
        return _make_line(a, b, _rotated_label("", place, along, "middle", length))

    def make_position(self, position: Position) -> PlanPosition:
        """Draw a position: rods and plate to scale, mark inside the wall."""
        detail = self.plan.details[position.detail]
        frame = position_axes(self.plan, position)
        rods = self.to_drawing(rod_points(self.plan, position))
        inward = flip_y(frame.inward)
        depth = max((rod.inward for rod in detail.rods), default=0.0) * self.scale
        foot = self.to_drawing(np.asarray(frame.origin)[None])[0]
        x, y = round_point(foot + inward * (max(depth, 0.0) + MARK_OFFSET))
        return PlanPosition(
            position.mark,
            *round_point(foot),
            DrawingText(position.mark, x, y),
            tuple(
                PlanRod(
                    rod.number,
                    *round_point(place),
                    round(max(rod.diameter / 2 * self.scale, MIN_ROD_RADIUS), 2),
                )
                for rod, place in zip(detail.rods, rods, strict=True)
            ),
            self._plate_polygon(detail, frame),
        )

    def _plate_polygon(self, detail: Detail, frame: LocalAxes) -> str:
        edges = plate_bounds(detail)
        if edges is None:
            return ""
        left, near, right, far = edges
        corners = np.array([[left, near], [right, near], [right, far], [left, far]])
        return polygon_points(self.to_drawing(to_plan_axes(frame, corners)))


def plate_bounds(detail: Detail) -> tuple[float, float, float, float] | None:
    """Compute the edges of the plate from the rods and the edge distance.

    Returns
    -------
    tuple or None
        Least along, least in, greatest along, greatest in. [mm] None if the detail
        has no edge distance.
    """
    if detail.plate is None or detail.plate.edge_distance is None or not detail.rods:
        return None
    edge = detail.plate.edge_distance
    along = [rod.along for rod in detail.rods]
    inward = [rod.inward for rod in detail.rods]
    return min(along) - edge, min(inward) - edge, max(along) + edge, max(inward) + edge


def _describe_plan(plan: Plan, sheet: _PlanLayout) -> str:
    lengths = ", ".join(
        f"{first} to {second} {sheet.format_length(wall_length(plan, (first, second)))}"
        for first, second in list_walls(plan)
    )
    return (
        f"Steel line with walls {lengths}; {len(plan.positions)} positions. "
        "Everything is drawn as planned; the tables have the same numbers."
    )


def _concrete_polygon(plan: Plan, sheet: _PlanLayout, outline: FloatArray) -> str:
    """Draw the edge of the concrete: the steel line offset by the notch width."""
    if plan.notch is None:
        return ""
    return polygon_points(sheet.to_drawing(offset_outline(outline, plan.notch.width)))


def _outward_directions(outline: FloatArray) -> FloatArray:
    """Return the outward unit vector of the wall that starts at each corner."""
    along = normalise(np.roll(outline, -1, axis=0) - outline)
    return np.column_stack([along[:, 1], -along[:, 0]])


def _rotated_label(
    text: str,
    place: FloatArray,
    along: FloatArray,
    anchor: str,
    length: float | None = None,
) -> DrawingText:
    """Label along a direction, flipped where it would be upside down."""
    angle = atan2(along[1], along[0])
    upright = upright_angle(angle)
    if upright != angle:
        anchor = {"start": "end", "end": "start"}.get(anchor, anchor)
    rotation = round(degrees(upright), 2)
    return DrawingText(text, *round_point(place), rotation, anchor, length)


def _make_line(
    a: FloatArray, b: FloatArray, label: DrawingText | None = None
) -> DrawingLine:
    return DrawingLine(*round_point(a), *round_point(b), label)
