"""A detail as shapes, to scale: the rods, holes and plate that positions share.

Drawn as seen from above with the wall at the foot: the steel line below, *in*
upwards, *along* to the right of the reference line.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from jobs.drawing import FloatArray, Label, Line, RodMark, plate_edges
from jobs.plan.model import Detail

SPAN = 300.0  # units along the longer side
LEFT, RIGHT, TOP, BOTTOM = 110.0, 30.0, 24.0, 56.0  # units around it
TICK = 12.0  # units
SAME = 0.01  # mm: figures this close are one row


@dataclass(frozen=True, slots=True, kw_only=True)
class DetailDrawing:
    """A detail, ready to be written as SVG. [units]."""

    title: str
    description: str
    width: float
    height: float
    steel_line: Line
    reference_line: Line
    plate: str
    rods: tuple[RodMark, ...]
    holes: tuple[RodMark, ...]
    rows: tuple[Line, ...]  # how far in each row is, on the left
    offsets: tuple[Line, ...]  # how far along, below

    @property
    def view_box(self) -> str:
        """What the SVG shows, margins and all."""
        return (
            f"{-LEFT:.0f} {-TOP:.0f} "
            f"{self.width + LEFT + RIGHT:.0f} {self.height + TOP + BOTTOM:.0f}"
        )


def detail_drawing(detail: Detail) -> DetailDrawing:
    """Draw a detail: its rods by number, holes and plate, rows and offsets."""
    sheet = _Sheet.around(detail)
    width, height = sheet.size
    zero = sheet.at([(0.0, 0.0)])[0]
    centres = sheet.at([(rod.along, rod.inward) for rod in detail.rods])
    hole = detail.plate.hole_diameter if detail.plate else 0.0
    return DetailDrawing(
        title=f"Detail {detail.name}",
        description=(
            f"{len(detail.rods)} rods seen from above, the steel line below; the "
            f"reference line is the {detail.reference}."
        ),
        width=width,
        height=height,
        steel_line=_line(-TICK, zero[1], width + TICK, zero[1]),
        reference_line=_line(zero[0], -TICK, zero[0], height + TICK),
        plate=sheet.plate(detail),
        rods=tuple(
            sheet.circle(rod.number, centre, rod.diameter)
            for rod, centre in zip(detail.rods, centres, strict=True)
        ),
        holes=tuple(
            sheet.circle(rod.number, centre, hole)
            for rod, centre in zip(detail.rods, centres, strict=True)
            if hole
        ),
        rows=tuple(
            sheet.row(each) for each in _distinct(r.inward for r in detail.rods)
        ),
        offsets=tuple(
            sheet.offset(each) for each in _distinct(r.along for r in detail.rods)
        ),
    )


@dataclass(frozen=True, slots=True)
class _Sheet:
    """Where a detail's own axes lie on paper."""

    low: FloatArray  # along and in [mm]
    high: FloatArray
    scale: float  # units per mm

    @classmethod
    def around(cls, detail: Detail) -> "_Sheet":
        """Take in the rods, the plate, and the point both lines run through."""
        edge = max((rod.diameter for rod in detail.rods), default=20.0)
        points = [(0.0, 0.0)]
        for rod in detail.rods:
            points += [
                (rod.along - edge, rod.inward - edge),
                (rod.along + edge, rod.inward + edge),
            ]
        if edges := plate_edges(detail):
            points += [edges[:2], edges[2:]]
        low, high = np.min(points, axis=0), np.max(points, axis=0)
        return cls(low, high, SPAN / float((high - low).max()))

    @property
    def size(self) -> tuple[float, float]:
        width, height = (self.high - self.low) * self.scale
        return round(float(width), 2), round(float(height), 2)

    def at(self, points: Iterable[tuple[float, float]]) -> FloatArray:
        moved = np.array(list(points)) - (self.low[0], self.high[1])
        return np.asarray(moved * (self.scale, -self.scale))

    def circle(self, number: int, centre: FloatArray, diameter: float) -> RodMark:
        x, y = (round(float(each), 2) for each in centre)
        return RodMark(number, x, y, round(diameter / 2 * self.scale, 2))

    def plate(self, detail: Detail) -> str:
        edges = plate_edges(detail)
        if edges is None:
            return ""
        left, near, right, far = edges
        corners = self.at([(left, near), (right, near), (right, far), (left, far)])
        return " ".join(f"{x:.2f},{y:.2f}" for x, y in corners)

    def row(self, inward: float) -> Line:
        y = round(float(self.at([(0.0, inward)])[0][1]), 2)
        label = Label("", -2 * TICK, y, anchor="end", length=inward)
        return _line(-1.5 * TICK, y, -TICK / 2, y, label)

    def offset(self, along: float) -> Line:
        x = round(float(self.at([(along, 0.0)])[0][0]), 2)
        low = self.size[1]
        label = Label("", x, low + 3 * TICK, length=along)
        return _line(x, low + TICK, x, low + 2 * TICK, label)


def _distinct(figures: Iterable[float]) -> list[float]:
    found: list[float] = []
    for figure in sorted(figures):
        if not found or figure - found[-1] > SAME:
            found.append(figure)
    return found


def _line(
    x1: float, y1: float, x2: float, y2: float, label: Label | None = None
) -> Line:
    a, b, c, d = (round(float(each), 2) for each in (x1, y1, x2, y2))
    return Line(a, b, c, d, label)
