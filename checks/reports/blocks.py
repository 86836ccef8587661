"""The pieces a report is put together from, as `paper/book.typ` reads them.

Everything is plain text in a JSON document: nothing that was typed by anybody is
ever part of the page's own program.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

Cell = str | dict[str, Any]
Block = dict[str, Any]


def heading(text: str, level: int = 1, *, new_page: bool = False) -> Block:
    """A heading; one of level 1 may begin a page."""
    return {"is": "heading", "text": text, "level": level, "break": new_page}


def paragraph(text: str, *, muted: bool = False, keep_with_next: bool = False) -> Block:
    """A paragraph; `quiet` for what explains, `keep` with what follows."""
    return {"is": "text", "text": text, "quiet": muted, "keep": keep_with_next}


def facts(rows: Iterable[tuple[str, Cell]]) -> Block:
    """What is known, a line each: a label and what it is."""
    return {"is": "facts", "rows": [list(row) for row in rows]}


def caution(title: str, lines: Iterable[str] = ()) -> Block:
    """A warning, set so that nobody reads past it."""
    return {"is": "caution", "title": title, "lines": list(lines)}


def counts(cells: Iterable[Cell]) -> Block:
    """A few counts in a line."""
    return {"is": "tally", "cells": list(cells)}


def digest_box(label: str, digest: str, address: str) -> Block:
    """A digest in full, and where it is verified."""
    return {"is": "seal", "label": label, "digest": digest, "address": address}


@dataclass(frozen=True, slots=True, kw_only=True)
class TableColumn:
    """A column: its title, whether figures stand in it, and its share of the width.

    `share` 0 is as wide as needed.
    """

    title: str
    numeric: bool = False
    share: float = 0.0
    width_mm: float = 0.0


def columns(
    *titles: str, numeric: Iterable[str] = (), wide: str = ""
) -> list[TableColumn]:
    """Name a table's columns; those of figures are set to the right."""
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
    """A ruled table; a row that is text alone heads the rows below it.

    `tall` rows leave room to write; `small` is for long lists.
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
    """A drawing as SVG. Sizes in its own units; `described` is read out.

    `caption` stands below it.
    """

    svg: str
    width: float
    height: float
    alt_text: str
    caption: str = ""


def figure_row(
    figures: Iterable[DrawingFigure], across: int = 1, max_height_mm: float = 205.0
) -> Block:
    """Drawings, side by side where `across` is more than 1."""
    return {
        "is": "pictures",
        "pictures": list(figures),
        "across": across,
        "tallest": max_height_mm,
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotographFigure:
    """A photograph as JPEG, and what stands below it.

    Attributes
    ----------
    content : None where its file is lost; its place then says so.
    tall : height over width.
    told : lines, such as who took it and when.
    digest : SHA-256 of the file.
    described : what is read out.
    """

    content: bytes | None
    aspect_ratio: float
    caption_lines: tuple[str, ...]
    digest: str
    alt_text: str


def photographs(figures: Iterable[PhotographFigure]) -> Block:
    """Photographs, two beside each other."""
    return {"is": "photographs", "photographs": list(figures)}


def verdict(word: str, words: str = "") -> Cell:
    """A verdict: its shape and its word."""
    return {"verdict": word, "text": words or word}


def strong(words: str) -> Cell:
    """What the eye should find."""
    return {"strong": words}


def code(words: str) -> Cell:
    """A digest or key, letter by letter."""
    return {"code": words}


def lines(*cells: Cell) -> Cell:
    """Several cells, one below the other."""
    return {"lines": [cell for cell in cells if cell]}
