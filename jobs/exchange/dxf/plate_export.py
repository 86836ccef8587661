"""Export of one base plate as a DXF drawing: outline, holes, ordinates and notes.

The origin is the plate's first corner, x along and y inward, seen from above, at true
scale in the unit that the header names. What is cut is on the layers PLATE and HOLES
alone; everything else is for the reader.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from core.units import MM_PER_UNIT, LengthUnit
from jobs.exchange.dxf.drawing_shapes import UNIT_BY_INSUNITS, load_ezdxf

PLATE = "PLATE"
HOLES = "HOLES"
PLATE_AS_DRAWN = "PLATE-AS-DRAWN"
HOLES_AS_DRAWN = "HOLES-AS-DRAWN"
REFERENCE = "REFERENCE-LINE"
ORDINATES = "ORDINATES"
NOTES = "NOTES"
LAYERS = {  # each with a colour number that prints dark on white, and a line type
    PLATE: (7, "CONTINUOUS"),
    HOLES: (5, "CONTINUOUS"),
    PLATE_AS_DRAWN: (8, "DASHED"),
    HOLES_AS_DRAWN: (8, "DASHED"),
    REFERENCE: (30, "CENTER"),
    ORDINATES: (8, "CONTINUOUS"),
    NOTES: (7, "CONTINUOUS"),
}
LETTERING_RATIO = 1 / 45
"""Height of a line of text, of the plate's longer side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnPlateHole:
    """A hole to punch, with the hole as drawn; from the plate's corner. [mm]"""

    rod: int
    x: float
    y: float
    planned_x: float
    planned_y: float
    x_text: str
    y_text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateSheet:
    """One plate as drawn on its sheet. [mm]

    Attributes
    ----------
    planned_box : left, near, right and far edge of the plate as drawn, from the corner;
        None where the new one is no larger.
    reference_x : of the column's reference line, from the corner.
    notes : lines of text above the plate.
    """

    unit: LengthUnit
    width: float
    depth: float
    hole_diameter: float
    holes: Sequence[DrawnPlateHole]
    reference_x: float
    notes: Sequence[str]
    planned_box: tuple[float, float, float, float] | None = None


def write_plate_drawing(sheet: PlateSheet) -> bytes:
    """Write one plate as a drawing.

    Returns
    -------
    bytes
        A DXF drawing as text, in the sheet's unit.
    """
    drawing = load_ezdxf().new("R2013", setup=["linetypes"])
    drawing.units = next(
        code for code, unit in UNIT_BY_INSUNITS.items() if unit == sheet.unit
    )
    for name, (colour, line_type) in LAYERS.items():
        drawing.layers.add(name, color=colour, linetype=line_type)
    page = _PlateDrawing(sheet, drawing)
    page.draw_plate()
    page.draw_holes()
    page.draw_notes()
    out = io.StringIO()
    drawing.write(out)
    return out.getvalue().encode("utf-8", "dxfreplace")


class _PlateDrawing:
    """A drawing under construction; points are in mm from the plate's corner."""

    def __init__(self, sheet: PlateSheet, drawing: Any) -> None:
        self.sheet, self.space = sheet, drawing.modelspace()
        self.scale = 1 / float(MM_PER_UNIT[sheet.unit])
        self.lettering = max(sheet.width, sheet.depth) * LETTERING_RATIO

    def draw_plate(self) -> None:
        """Draw the plate, the plate as drawn, and the column's reference line."""
        self._box((0.0, 0.0, self.sheet.width, self.sheet.depth), PLATE)
        if self.sheet.planned_box is not None:
            self._box(self.sheet.planned_box, PLATE_AS_DRAWN)
        ends = (
            (self.sheet.reference_x, -self.lettering),
            (self.sheet.reference_x, self.sheet.depth + self.lettering),
        )
        self.space.add_line(*map(self._at, ends), dxfattribs={"layer": REFERENCE})

    def draw_holes(self) -> None:
        """Draw every hole with its rod's number, and its ordinates beside it."""
        radius = self.sheet.hole_diameter / 2
        for hole in self.sheet.holes:
            self._circle((hole.x, hole.y), radius, HOLES)
            self._circle((hole.planned_x, hole.planned_y), radius, HOLES_AS_DRAWN)
            beside = hole.x + radius + 0.5 * self.lettering
            for line, text in enumerate(
                (f"ROD {hole.rod}", f"X {hole.x_text}", f"Y {hole.y_text}")
            ):
                place = (beside, hole.y + (0.8 - 1.3 * line) * self.lettering * 0.7)
                self._write(text, place, ORDINATES, 0.7)

    def draw_notes(self) -> None:
        """Write the notes above the plate, the first line at the top."""
        count = len(self.sheet.notes)
        for index, text in enumerate(self.sheet.notes):
            rise = (2.5 + 1.6 * (count - 1 - index)) * self.lettering
            self._write(text, (0.0, self.sheet.depth + rise), NOTES, 1.0)

    def _at(self, point: tuple[float, float]) -> tuple[float, float]:
        return point[0] * self.scale, point[1] * self.scale

    def _box(self, box: tuple[float, float, float, float], layer: str) -> None:
        left, near, right, far = box
        corners = ((left, near), (right, near), (right, far), (left, far))
        self.space.add_lwpolyline(
            [self._at(corner) for corner in corners],
            close=True,
            dxfattribs={"layer": layer},
        )

    def _circle(self, centre: tuple[float, float], radius: float, layer: str) -> None:
        self.space.add_circle(
            self._at(centre), radius * self.scale, dxfattribs={"layer": layer}
        )

    def _write(
        self, text: str, place: tuple[float, float], layer: str, size: float
    ) -> None:
        self.space.add_text(
            text,
            height=self.lettering * size * self.scale,
            dxfattribs={"layer": layer, "insert": self._at(place)},
        )
