"""Layout of a drawing: its scale, the size of its text, and space for labels.

A drawing unit is about one CSS pixel at the narrowest width a drawing is shown at.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from core.svg import FloatArray, Viewport

TEXT_UNITS = 14.0  # height of a line of digits
CHARACTER_UNITS = 9.0  # width of a digit at the larger size phones show
NARROW_CHARACTERS = "′″'\"⁄ .,:-il()"  # noqa: RUF001 -- the marks as drawn
SHAPE_UNITS = 14.0  # width of a verdict's shape in a line of text


def fit_viewport(
    points_mm: FloatArray, width: float, margin: float, max_height: float
) -> tuple[Viewport, float]:
    """Fit points on a sheet of a given width.

    Parameters
    ----------
    points_mm : array, shape (n, 2)
        Points that must lie on the sheet. [mm]
    width, margin, max_height : float
        Of the sheet; the margin is kept free on all four sides. [drawing units]

    Returns
    -------
    Viewport, float
        The scale and place of the points, and the height of the sheet.
    """
    low, high = points_mm.min(axis=0), points_mm.max(axis=0)
    span = np.maximum(high - low, 1.0)
    scale = float(
        min((width - 2 * margin) / span[0], (max_height - 2 * margin) / span[1])
    )
    drawn = span * scale
    left = (width - drawn[0]) / 2
    origin = (float(left - low[0] * scale), float(margin + high[1] * scale))
    return Viewport(scale=scale, origin=origin), float(drawn[1] + 2 * margin)


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the sheet. [drawing units]"""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: "Box") -> bool:
        """Return True where the two boxes share any area."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


@dataclass(slots=True)
class OccupiedSpace:
    """Boxes of the sheet that are occupied, each with the kind of its content."""

    boxes: list[tuple[Box, str]] = field(default_factory=list)

    def is_free(self, box: Box, only_kind: str = "") -> bool:
        """Return True where a box meets nothing yet, or nothing of one kind."""
        return not any(
            box.overlaps(taken)
            for taken, kind in self.boxes
            if kind == only_kind or not only_kind
        )

    def bounds(self) -> Box:
        """Return the box around everything that is occupied."""
        return Box(
            min(box.left for box, _ in self.boxes),
            min(box.top for box, _ in self.boxes),
            max(box.right for box, _ in self.boxes),
            max(box.bottom for box, _ in self.boxes),
        )

    def occupy(self, box: Box, kind: str = "") -> None:
        """Mark a box as occupied."""
        self.boxes.append((box, kind))


def text_width(text: str, size: float = TEXT_UNITS) -> float:
    """Estimate the width of a line of text from its characters. [drawing units]"""
    narrow = sum(character in NARROW_CHARACTERS for character in text)
    return (len(text) - 0.5 * narrow) * CHARACTER_UNITS * size / TEXT_UNITS


def bounding_box(
    centre: FloatArray, width: float, height: float, rotation_rad: float = 0.0
) -> Box:
    """Return the box around a rectangle that is rotated about its centre."""
    half_x = (
        abs(width * math.cos(rotation_rad)) + abs(height * math.sin(rotation_rad))
    ) / 2
    half_y = (
        abs(width * math.sin(rotation_rad)) + abs(height * math.cos(rotation_rad))
    ) / 2
    x, y = float(centre[0]), float(centre[1])
    return Box(x - half_x, y - half_y, x + half_x, y + half_y)


def round_down(value: float) -> float:
    """Return the largest of …, 0.5, 1, 2, 5, 10, 20, … that is not above `value`."""
    power = 10.0 ** math.floor(math.log10(value))
    step = max(step for step in (1, 2, 5) if step * power <= value * (1 + 1e-9))
    return step * power


def get_size_class(width: float) -> str:
    """Return the suffix of the CSS class that limits how narrow a drawing is shown."""
    return (
        "s" if width <= 480 else "m" if width <= 640 else "l" if width <= 960 else "xl"
    )
