"""The sheet under a drawing: plan axes to drawing units, and room for labels.

A drawing unit is about one CSS pixel at the narrowest width a drawing is shown at.
Plan axes are mm with y up, drawing units run y down.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from core.svg import FloatArray, Viewport

TEXT_UNITS = 14.0  # height of a line of figures, in drawing units
CHARACTER_UNITS = 9.0  # advance of a figure at the larger size phones show
NARROW_CHARACTERS = "′″'\"⁄ .,:-il()"  # noqa: RUF001 -- the marks as drawn
SHAPE_UNITS = 14.0  # room a verdict's shape takes in a line of text


def fit_viewport(
    points_mm: FloatArray, width: float, margin: float, max_height: float
) -> tuple[Viewport, float]:
    """Place points on a sheet of a given width, and tell how high the sheet is.

    Parameters
    ----------
    points_mm : array, shape (n, 2)
        What has to be on the sheet. [mm]
    width, margin, most_height : float
        Of the sheet; the margin is kept free on all four sides. [drawing units]
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
        """Whether the two cover each other anywhere."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


@dataclass(slots=True)
class OccupiedSpace:
    """The places on the sheet that are taken, and by what kind of thing."""

    boxes: list[tuple[Box, str]] = field(default_factory=list)

    def is_free(self, box: Box, only_kind: str = "") -> bool:
        """Whether nothing is there yet, or nothing of one kind."""
        return not any(
            box.overlaps(taken)
            for taken, kind in self.boxes
            if kind == only_kind or not only_kind
        )

    def bounds(self) -> Box:
        """Rectangle around everything taken."""
        return Box(
            min(box.left for box, _ in self.boxes),
            min(box.top for box, _ in self.boxes),
            max(box.right for box, _ in self.boxes),
            max(box.bottom for box, _ in self.boxes),
        )

    def occupy(self, box: Box, kind: str = "") -> None:
        """Keep others away from there."""
        self.boxes.append((box, kind))


def text_width(text: str, size: float = TEXT_UNITS) -> float:
    """Room for a line of text, estimated from its characters. [drawing units]"""
    narrow = sum(character in NARROW_CHARACTERS for character in text)
    return (len(text) - 0.5 * narrow) * CHARACTER_UNITS * size / TEXT_UNITS


def bounding_box(
    centre: FloatArray, width: float, height: float, rotation_rad: float = 0.0
) -> Box:
    """Box around a rectangle of a width and height turned about its centre."""
    half_x = (
        abs(width * math.cos(rotation_rad)) + abs(height * math.sin(rotation_rad))
    ) / 2
    half_y = (
        abs(width * math.sin(rotation_rad)) + abs(height * math.cos(rotation_rad))
    ) / 2
    x, y = float(centre[0]), float(centre[1])
    return Box(x - half_x, y - half_y, x + half_x, y + half_y)


def round_down(value: float) -> float:
    """Largest of 1, 2, 5, 10, 20, 50 … (and 0.5, 0.2 …) not above `value`."""
    power = 10.0 ** math.floor(math.log10(value))
    step = max(step for step in (1, 2, 5) if step * power <= value * (1 + 1e-9))
    return step * power


def get_size_class(width: float) -> str:
    """CSS class ending for a drawing of this width: how narrow it may be shown."""
    return (
        "s" if width <= 480 else "m" if width <= 640 else "l" if width <= 960 else "xl"
    )
