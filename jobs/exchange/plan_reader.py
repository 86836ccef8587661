"""Import of a plan from a file of any supported kind, by its suffix."""

from collections.abc import Mapping
from pathlib import PurePath
from typing import Any

from jobs.exchange.dxf.drawing_shapes import MAX_DRAWING_BYTES as LARGEST_DRAWING
from jobs.exchange.dxf.drawing_shapes import DrawingShapes, read_drawing
from jobs.exchange.dxf.plan_import import DrawingOptions, import_plan_drawing
from jobs.exchange.imported_file import ImportedFile
from jobs.exchange.issues import DocumentError, file_error
from jobs.exchange.tables.table_files import TABLE_SUFFIXES, read_plan_table

DRAWING_SUFFIXES = (".dxf",)
MAX_TABLE_BYTES = 8_000_000  # bytes
MAX_FILE_BYTES = {
    **dict.fromkeys(TABLE_SUFFIXES, MAX_TABLE_BYTES),
    **dict.fromkeys(DRAWING_SUFFIXES, LARGEST_DRAWING),
}
"""Largest size of a file, by suffix. [byte]"""


def file_suffix(name: str) -> str:
    """Return the suffix of a file's name, in lower case."""
    return PurePath(name).suffix.lower()


def read_plan_file(
    content: bytes,
    suffix: str,
    *,
    options: DrawingOptions | None = None,
    base: Mapping[str, Any] | None = None,
) -> tuple[ImportedFile, DrawingShapes | None]:
    """Import a plan from a workbook, a CSV file or a drawing.

    Parameters
    ----------
    content : of the file.
    suffix : of its name, a key of `MAX_FILE_BYTES`.
    options : how to read a drawing.
    base : document of the current plan, if the file revises it.

    Returns
    -------
    ImportedFile
        The document, its issues, and what was left out.
    DrawingShapes or None
        The shapes of a drawing, whose layers can be chosen from.

    Raises
    ------
    DocumentError
        If nothing of the file can be read.
    """
    if len(content) > MAX_FILE_BYTES[suffix]:
        most = MAX_FILE_BYTES[suffix] // 1_000_000
        msg = f"This file is over {most} MB, far more than a plan: choose another file."
        raise file_error(msg)
    if suffix not in DRAWING_SUFFIXES:
        return read_plan_table(content, suffix, base), None
    shapes = read_drawing(content)
    try:
        return import_plan_drawing(shapes, options or DrawingOptions(), base), shapes
    except DocumentError as error:
        return ImportedFile(document={}, issues=error.issues), shapes
