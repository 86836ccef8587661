"""Drawing of a detail, to scale: rods, holes and plate.

Seen from above with the wall at the bottom: the steel line below, *in* upwards,
*along* to the right of the reference line.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from core.svg import FloatArray, polygon_points
from jobs.anchor_plan.values import Detail
from jobs.plans.plan_drawing import (
    DrawingLine,
    DrawingText,
    PlanRod,
    plate_bounds,
)

LONGER_SIDE = 300.0  # units along the longer side
LEFT_MARGIN, RIGHT_MARGIN, TOP_MARGIN, BOTTOM_MARGIN = (
    110.0,
    30.0,
    24.0,
    56.0,
)  # units around it
TICK_LENGTH = 12.0  # units
SAME_DIMENSION_MM = 0.01  # mm: figures this close are one row


@dataclass(frozen=True, slots=True, kw_only=True)
class DetailDrawing:
    """Shapes of a detail, for `jobs/detail.svg`. [units]."""

    title: str
    description: str
    width: float
    height: float
    steel_line: DrawingLine
    reference_line: DrawingLine
    plate: str
    rods: tuple[PlanRod, ...]
    holes: tuple[PlanRod, ...]
    rows: tuple[DrawingLine, ...]  # dimensions of the rows, on the left
    offsets: tuple[DrawingLine, ...]  # dimensions along, below

    @property
    def view_box(self) -> str:
        """The SVG `viewBox`, with margins."""
        return (
            f"{-LEFT_MARGIN:.0f} {-TOP_MARGIN:.0f} "
            f"{self.width + LEFT_MARGIN + RIGHT_MARGIN:.0f} "
            f"{self.height + TOP_MARGIN + BOTTOM_MARGIN:.0f}"
        )


def draw_detail(detail: Detail) -> DetailDrawing:
    """Draw a detail: its rods by number, holes and plate, rows and offsets."""
    sheet = _DetailLayout.around(detail)
    width, height = sheet.size
    zero = sheet.to_drawing([(0.0, 0.0)])[0]
    centres = sheet.to_drawing([(rod.along, rod.inward) for rod in detail.rods])
    hole = detail.plate.hole_diameter if detail.plate else 0.0
    return DetailDrawing(
        title=f"Detail {detail.name}",
        description=(
            f"{len(detail.rods)} rods seen from above, the steel line below; the "
            f"reference line is the {detail.reference}."
        ),
        width=width,
        height=height,
        steel_line=_make_line(-TICK_LENGTH, zero[1], width + TICK_LENGTH, zero[1]),
        reference_line=_make_line(zero[0], -TICK_LENGTH, zero[0], height + TICK_LENGTH),
        plate=sheet.plate_polygon(detail),
        rods=tuple(
            sheet.make_rod(rod.number, centre, rod.diameter)
            for rod, centre in zip(detail.rods, centres, strict=True)
        ),
        holes=tuple(
            sheet.make_rod(rod.number, centre, hole)
            for rod, centre in zip(detail.rods, centres, strict=True)
            if hole
        ),
        rows=tuple(
            sheet.make_row_dimension(each)
            for each in _distinct_dimensions(r.inward for r in detail.rods)
        ),
        offsets=tuple(
            sheet.make_offset_dimension(each)
            for each in _distinct_dimensions(r.along for r in detail.rods)
        ),
    )


@dataclass(frozen=True, slots=True)
class _DetailLayout:
    """Scale and position of a detail's axes on the drawing."""

    low: FloatArray  # along and in [mm]
    high: FloatArray
    scale: float  # units per mm

    @classmethod
    def around(cls, detail: Detail) -> "_DetailLayout":
        """Fit rods, plate and the origin of both axes."""
        edge = max((rod.diameter for rod in detail.rods), default=20.0)
        points = [(0.0, 0.0)]
        for rod in detail.rods:
            points += [
                (rod.along - edge, rod.inward - edge),
                (rod.along + edge, rod.inward + edge),
            ]
        if edges := plate_bounds(detail):
            points += [edges[:2], edges[2:]]
        low, high = np.min(points, axis=0), np.max(points, axis=0)
        return cls(low, high, LONGER_SIDE / float((high - low).max()))

    @property
    def size(self) -> tuple[float, float]:
        width, height = (self.high - self.low) * self.scale
        return round(float(width), 2), round(float(height), 2)

    def to_drawing(self, points: Iterable[tuple[float, float]]) -> FloatArray:
        moved = np.array(list(points)) - (self.low[0], self.high[1])
        return np.asarray(moved * (self.scale, -self.scale))

    def make_rod(self, number: int, centre: FloatArray, diameter: float) -> PlanRod:
        x, y = (round(float(each), 2) for each in centre)
        return PlanRod(number, x, y, round(diameter / 2 * self.scale, 2))

    def plate_polygon(self, detail: Detail) -> str:
        edges = plate_bounds(detail)
        if edges is None:
            return ""
        left, near, right, far = edges
        corners = self.to_drawing(
            [(left, near), (right, near), (right, far), (left, far)]
        )
        return polygon_points(corners)

    def make_row_dimension(self, inward: float) -> DrawingLine:
        y = round(float(self.to_drawing([(0.0, inward)])[0][1]), 2)
        label = DrawingText("", -2 * TICK_LENGTH, y, anchor="end", length=inward)
        return _make_line(-1.5 * TICK_LENGTH, y, -TICK_LENGTH / 2, y, label)

    def make_offset_dimension(self, along: float) -> DrawingLine:
        x = round(float(self.to_drawing([(along, 0.0)])[0][0]), 2)
        low = self.size[1]
        label = DrawingText("", x, low + 3 * TICK_LENGTH, length=along)
        return _make_line(x, low + TICK_LENGTH, x, low + 2 * TICK_LENGTH, label)


def _distinct_dimensions(dimensions: Iterable[float]) -> list[float]:
    found: list[float] = []
    for figure in sorted(dimensions):
        if not found or figure - found[-1] > SAME_DIMENSION_MM:
            found.append(figure)
    return found


def _make_line(
    x1: float, y1: float, x2: float, y2: float, label: DrawingText | None = None
) -> DrawingLine:
    a, b, c, d = (round(float(each), 2) for each in (x1, y1, x2, y2))
    return DrawingLine(a, b, c, d, label)
