"""A plan from a file of any kind it may come in, told by the end of its name."""

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
"""How large a file of a kind may be. [byte]"""


def file_suffix(name: str) -> str:
    """Give what a file's name ends with, in small letters."""
    return PurePath(name).suffix.lower()


def read_plan_file(
    content: bytes,
    suffix: str,
    *,
    choices: DrawingOptions | None = None,
    base: Mapping[str, Any] | None = None,
) -> tuple[ImportedFile, DrawingShapes | None]:
    """Read a plan from a workbook, a CSV file or a drawing.

    Parameters
    ----------
    content : the file.
    suffix : what its name ends with: one of `LARGEST`.
    choices : how a drawing is to be read.
    base : the document of the plan in force, where this is to revise it.

    Returns
    -------
    found : the document it amounts to, its faults, and what was left out.
    shapes : what is in a drawing, whose layers can be chosen from; else None.

    Raises
    ------
    DocumentError
        If nothing in it can be read.
    """
    if len(content) > MAX_FILE_BYTES[suffix]:
        most = MAX_FILE_BYTES[suffix] // 1_000_000
        msg = (
            f"This file is over {most} MB; a plan is far smaller. Is it the right file?"
        )
        raise file_error(msg)
    if suffix not in DRAWING_SUFFIXES:
        return read_plan_table(content, suffix, base), None
    shapes = read_drawing(content)
    try:
        return import_plan_drawing(shapes, choices or DrawingOptions(), base), shapes
    except DocumentError as error:
        return ImportedFile(document={}, issues=error.issues), shapes
