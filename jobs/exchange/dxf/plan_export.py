"""Export of a plan as a DXF drawing: as planned, and as built where measured.

Every detail is a block, inserted at each position where its reference line meets the
steel line, so that the drawing can be imported again as the same plan. Coordinates are
the plan's, in its length unit, which the header names.
"""

import io
from collections.abc import Iterable
from dataclasses import dataclass
from math import atan2, degrees
from typing import Any

import numpy as np

from core.units import MM_PER_UNIT
from jobs.anchor_plan.geometry import outline_points, position_axes
from jobs.anchor_plan.values import Corner, Plan
from jobs.exchange.dxf.drawing_shapes import UNIT_BY_INSUNITS, load_ezdxf

STEEL_LINE = "STEEL-LINE"
CONCRETE_EDGE = "CONCRETE-EDGE"
CORNERS = "CORNERS"
DIAGONALS = "DIAGONALS"
POSITIONS = "POSITIONS"
PLATES = "PLATES"
RODS_PLANNED = "RODS-PLANNED"
RODS_AS_BUILT = "RODS-AS-BUILT"
DEVIATIONS = "DEVIATIONS"
LAYERS = {  # each with a colour number that prints dark on white
    STEEL_LINE: 7,
    CONCRETE_EDGE: 8,
    CORNERS: 7,
    DIAGONALS: 8,
    POSITIONS: 7,
    PLATES: 8,
    RODS_PLANNED: 5,
    RODS_AS_BUILT: 30,
    DEVIATIONS: 30,
}

LETTERING_RATIO = 1 / 150
"""Height of a mark, of the outline's longer side."""

MIN_LETTERING_MM = 60.0


@dataclass(frozen=True, slots=True)
class AsBuiltRod:
    """A rod as it was built, on plan axes. [mm]"""

    x: float
    y: float
    diameter: float
    deviation: str  # as text


def write_plan_drawing(plan: Plan, built: Iterable[AsBuiltRod] = ()) -> bytes:
    """Write a plan as a drawing.

    Parameters
    ----------
    plan : what is planned. [mm]
    built : the measured rods. [mm]

    Returns
    -------
    bytes
        A DXF drawing as text, in the plan's length unit.
    """
    drawing = load_ezdxf().new("R2013")
    drawing.units = next(
        code for code, unit in UNIT_BY_INSUNITS.items() if unit == plan.length_unit
    )
    for name, colour in LAYERS.items():
        drawing.layers.add(name, color=colour)
    sheet = _PlanDrawing(plan, drawing, 1 / float(MM_PER_UNIT[plan.length_unit]))
    sheet.draw_outline()
    sheet.draw_details()
    sheet.draw_positions()
    for rod in built:
        sheet.draw_built(rod)
    out = io.StringIO()
    drawing.write(out)
    return out.getvalue().encode("utf-8", "dxfreplace")


class _PlanDrawing:
    """A drawing under construction; points are in mm on plan axes."""

    def __init__(self, plan: Plan, drawing: Any, scale: float) -> None:
        self.plan, self.drawing, self.scale = plan, drawing, scale
        self.space = drawing.modelspace()
        points = outline_points(plan)
        side = float((points.max(axis=0) - points.min(axis=0)).max())
        self.lettering = max(side * LETTERING_RATIO, MIN_LETTERING_MM) * scale
        self.blocks = {
            name: f"DETAIL-{number}" for number, name in enumerate(plan.details, 1)
        }

    def at(self, point: Any) -> tuple[float, float]:
        return float(point[0]) * self.scale, float(point[1]) * self.scale

    def draw_outline(self) -> None:
        """Draw the steel line, the edge of the concrete, corners and diagonals."""
        points = outline_points(self.plan)
        self._loop(points, STEEL_LINE)
        if self.plan.notch is not None:
            self._loop(offset_outline(points, self.plan.notch.width), CONCRETE_EDGE)
        for corner, out in zip(
            self.plan.outline, offset_outline(points, 1.0) - points, strict=True
        ):
            self._name_corner(corner, out)
        named = {corner.name: (corner.x, corner.y) for corner in self.plan.outline}
        for first, second in self.plan.diagonals:
            ends = self.at(named[first]), self.at(named[second])
            self.space.add_line(*ends, dxfattribs={"layer": DIAGONALS})

    def draw_details(self) -> None:
        """Add a block for every detail, its origin on the steel line."""
        for name, detail in self.plan.details.items():
            block = self.drawing.blocks.new(self.blocks[name])
            for rod in detail.rods:
                block.add_circle(
                    self.at((rod.along, rod.inward)),
                    rod.diameter / 2 * self.scale,
                    dxfattribs={"layer": RODS_PLANNED},
                )
            for left, right in _plate_edges(detail):
                ends = self.at(left), self.at(right)
                block.add_line(*ends, dxfattribs={"layer": PLATES})

    def draw_positions(self) -> None:
        """Insert each position's detail, with its mark."""
        for position in self.plan.positions:
            detail = self.plan.details[position.detail]
            frame = position_axes(self.plan, position)
            turn = degrees(atan2(frame.along[1], frame.along[0]))
            insert = self.space.add_blockref(
                self.blocks[position.detail],
                self.at(frame.origin),
                dxfattribs={"layer": POSITIONS, "rotation": turn},
            )
            depth = max(rod.inward for rod in detail.rods)
            place = self.at(
                frame.origin
                + frame.inward * (max(depth, 0.0) + 1.5 * self.lettering / self.scale)
            )
            attributes = {
                "MARK": position.mark,
                "DETAIL": position.detail,
                "REFERENCE": detail.reference,
            }
            for tag, text in attributes.items():
                attribute = insert.add_attrib(
                    tag,
                    text,
                    place,
                    dxfattribs={"layer": POSITIONS, "height": self.lettering},
                )
                attribute.is_invisible = tag != "MARK"

    def draw_built(self, rod: AsBuiltRod) -> None:
        """Draw a rod as built, with its deviation."""
        radius = rod.diameter / 2
        self.space.add_circle(
            self.at((rod.x, rod.y)),
            radius * self.scale,
            dxfattribs={"layer": RODS_AS_BUILT},
        )
        place = (rod.x + 1.5 * radius, rod.y + 1.5 * radius)
        self._write(rod.deviation, place, DEVIATIONS, 0.15)

    def _name_corner(self, corner: Corner, out: Any) -> None:
        """Write a corner's name outside the outline, anchored at the corner."""
        from ezdxf.enums import TextEntityAlignment

        upright = "BOTTOM" if out[1] > 0 else "TOP"
        aside = "LEFT" if out[0] > 0 else "RIGHT"
        text = self.space.add_text(
            corner.name,
            height=self.lettering * 1.5,
            dxfattribs={"layer": CORNERS},
        )
        anchor = TextEntityAlignment[f"{upright}_{aside}"]
        text.set_placement(self.at((corner.x, corner.y)), align=anchor)

    def _loop(self, points: Any, layer: str) -> None:
        self.space.add_lwpolyline(
            [self.at(each) for each in points], close=True, dxfattribs={"layer": layer}
        )

    def _write(self, text: str, place: Any, layer: str, size: float) -> None:
        self.space.add_text(
            text,
            height=self.lettering * size,
            dxfattribs={"layer": layer, "insert": self.at(place)},
        )


def offset_outline(points: Any, by: float) -> Any:
    """Offset a counter-clockwise outline outward, with mitred corners. [mm]"""
    along = np.roll(points, -1, axis=0) - points
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    out = np.column_stack([along[:, 1], -along[:, 0]])
    before = np.roll(out, 1, axis=0)
    reach = 1 + np.einsum("ij,ij->i", out, before)[:, None]
    return points + by * (out + before) / np.maximum(reach, 0.1)


def _plate_edges(detail: Any) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Return the edges of the plate; none without an edge distance. [mm]"""
    plate = detail.plate
    if plate is None or plate.edge_distance is None:
        return []
    along = [rod.along for rod in detail.rods]
    inward = [rod.inward for rod in detail.rods]
    edge = plate.edge_distance
    left, right = min(along) - edge, max(along) + edge
    near, far = min(inward) - edge, max(inward) + edge
    corners = [(left, near), (right, near), (right, far), (left, far)]
    return list(zip(corners, [*corners[1:], corners[0]], strict=True))
