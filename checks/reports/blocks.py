"""Blocks that a report is composed of, as `paper/report.typ` reads them.

A block is plain data for a JSON document. Text that people typed is never part of the
typst program, so that no markup in it takes effect.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from core.vocabulary import Verdict

Cell = str | dict[str, Any]
Block = dict[str, Any]


def heading(text: str, level: int = 1, *, new_page: bool = False) -> Block:
    """Build a heading, which may begin a new page."""
    return {"is": "heading", "text": text, "level": level, "break": new_page}


def paragraph(text: str, *, muted: bool = False, keep_with_next: bool = False) -> Block:
    """Build a paragraph; a muted one explains a table or a drawing."""
    return {"is": "text", "text": text, "muted": muted, "keep": keep_with_next}


def facts(rows: Iterable[tuple[str, Cell]]) -> Block:
    """Build a list of labels with their values, one a line."""
    return {"is": "facts", "rows": [list(row) for row in rows]}


def caution(title: str, lines: Iterable[str] = ()) -> Block:
    """Build a framed warning."""
    return {"is": "caution", "title": title, "lines": list(lines)}


def counts(cells: Iterable[Cell]) -> Block:
    """Build a row of counts."""
    return {"is": "counts", "cells": list(cells)}


def digest_box(label: str, digest: str, address: str) -> Block:
    """Build a box with a digest in full, and the address where it is verified."""
    return {"is": "digest", "label": label, "digest": digest, "address": address}


@dataclass(frozen=True, slots=True, kw_only=True)
class TableColumn:
    """A column of a table.

    Attributes
    ----------
    numeric : bool
        Set its cells to the right.
    share : float
        Share of the free width; 0 is as wide as its content.
    width_mm : float
        Fixed width; 0 for none. [mm]
    """

    title: str
    numeric: bool = False
    share: float = 0.0
    width_mm: float = 0.0


def columns(
    *titles: str, numeric: Iterable[str] = (), wide: str = ""
) -> list[TableColumn]:
    """Build columns from their titles, with the numeric ones and the wide one."""
    right = set(numeric)
    return [
        TableColumn(
            title=title, numeric=title in right, share=1.0 if title == wide else 0.0
        )
        for title in titles
    ]


def table(
    columns: Sequence[TableColumn],
    rows: Iterable[Sequence[Cell] | str],
    *,
    tall: bool = False,
    small: bool = False,
) -> Block:
    """Build a ruled table; a row that is text alone heads the rows below it.

    Tall rows leave room to write; small text is for long lists.
    """
    return {
        "is": "table",
        "tall": tall,
        "small": small,
        "columns": [
            {
                "title": column.title,
                "right": column.numeric,
                "share": column.share,
                "mm": column.width_mm,
            }
            for column in columns
        ],
        "rows": [row if isinstance(row, str) else list(row) for row in rows],
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawingFigure:
    """A drawing as SVG, with sizes in its own units and a caption below it."""

    svg: str
    width: float
    height: float
    alt_text: str
    caption: str = ""


def figure_row(
    figures: Iterable[DrawingFigure], across: int = 1, max_height_mm: float = 205.0
) -> Block:
    """Build a row of drawings, side by side where `across` is more than 1."""
    return {
        "is": "figures",
        "figures": list(figures),
        "across": across,
        "max_height_mm": max_height_mm,
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotographFigure:
    """A photograph as JPEG, with lines of text below it.

    Attributes
    ----------
    content : bytes or None
        None where the file is lost, which the report then says.
    aspect_ratio : float
        Height over width.
    caption_lines : tuple of str
        Such as who took it, and when.
    digest : str
        SHA-256 of the file.
    alt_text : str
        For readers who do not see it.
    """

    content: bytes | None
    aspect_ratio: float
    caption_lines: tuple[str, ...]
    digest: str
    alt_text: str


def photographs(figures: Iterable[PhotographFigure]) -> Block:
    """Build rows of two photographs."""
    return {"is": "photographs", "photographs": list(figures)}


def verdict(value: str, text: str = "") -> Cell:
    """Build a cell with the shape of a verdict and its label, or another text."""
    return {"verdict": value, "text": text or Verdict(value).label}


def strong(text: str) -> Cell:
    """Build a cell in bold."""
    return {"strong": text}


def code(text: str) -> Cell:
    """Build a cell in a fixed-width font, for digests and keys."""
    return {"code": text}


def lines(*cells: Cell) -> Cell:
    """Build a cell of several cells, one below the other; empty ones are left out."""
    return {"lines": [cell for cell in cells if cell]}
