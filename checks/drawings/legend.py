"""Legend of a drawing: its shapes, lines and factors, laid out in rows."""

from collections.abc import Iterable
from dataclasses import dataclass

from checks.drawings.canvas import SHAPE_UNITS, TEXT_UNITS, text_width
from core.vocabulary import Verdict

ROW_HEIGHT_UNITS = 20.0
GAP_UNITS = 16.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LegendEntry:
    """One entry: a verdict's shape or a sample of a line, and its text."""

    text: str
    shape: str = ""  # a verdict
    line_class: str = ""  # a CSS class of lines
    x: float = 0.0
    y: float = 0.0

    @property
    def shape_x(self) -> float:
        """Middle of the shape. [drawing units]"""
        return self.x + SHAPE_UNITS / 2

    @property
    def sample_path(self) -> str:
        """Path data of the line's sample."""
        return f"M{self.x} {self.y}h24"

    @property
    def text_x(self) -> float:
        """Start of the text. [drawing units]"""
        return self.x + (
            SHAPE_UNITS + 3 if self.shape else 28 if self.line_class else 0
        )

    @property
    def width(self) -> float:
        """Width of the entry in its row. [drawing units]"""
        return self.text_x - self.x + text_width(self.text, TEXT_UNITS)


def list_verdict_entries(shown: Iterable[str]) -> list[LegendEntry]:
    """Return an entry for each verdict shown, in the order of the vocabulary."""
    present = set(shown)
    return [
        LegendEntry(shape=verdict, text=verdict.label)
        for verdict in Verdict
        if verdict in present
    ]


def layout_entries(
    entries: list[LegendEntry], width: float, top: float, left: float = 12.0
) -> tuple[tuple[LegendEntry, ...], float]:
    """Place entries left to right, row by row.

    Returns
    -------
    tuple of LegendEntry, float
        The placed entries, and the bottom of the last row. [drawing units]
    """
    placed = []
    x, y = left, top + ROW_HEIGHT_UNITS / 2
    for entry in entries:
        if x > left and x + entry.width > width - left:
            x, y = left, y + ROW_HEIGHT_UNITS
        entry = LegendEntry(
            text=entry.text,
            shape=entry.shape,
            line_class=entry.line_class,
            x=round(x, 1),
            y=y,
        )
        placed.append(entry)
        x += entry.width + GAP_UNITS
    return tuple(placed), y + ROW_HEIGHT_UNITS
