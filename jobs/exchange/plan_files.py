"""A plan from a file of any kind it may come in, told by the end of its name."""

from collections.abc import Mapping
from pathlib import PurePath
from typing import Any

from jobs.exchange.dxf.plan_in import Choices, plan_of_shapes
from jobs.exchange.dxf.shapes import LARGEST as LARGEST_DRAWING
from jobs.exchange.dxf.shapes import Shapes, read_shapes
from jobs.exchange.from_file import FromFile
from jobs.exchange.reader import DocumentError, Refusal
from jobs.exchange.tables.files import TABLES, read_plan

DRAWINGS = (".dxf",)
LARGEST_TABLE = 8_000_000  # bytes
LARGEST = {
    **dict.fromkeys(TABLES, LARGEST_TABLE),
    **dict.fromkeys(DRAWINGS, LARGEST_DRAWING),
}
"""How large a file of a kind may be. [byte]"""


def suffix_of(name: str) -> str:
    """Give what a file's name ends with, in small letters."""
    return PurePath(name).suffix.lower()


def read_plan_file(
    content: bytes,
    suffix: str,
    *,
    choices: Choices | None = None,
    base: Mapping[str, Any] | None = None,
) -> tuple[FromFile, Shapes | None]:
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
    if len(content) > LARGEST[suffix]:
        most = LARGEST[suffix] // 1_000_000
        msg = (
            f"This file is over {most} MB; a plan is far smaller. Is it the right file?"
        )
        raise DocumentError([Refusal("", msg)])
    if suffix not in DRAWINGS:
        return read_plan(content, suffix, base), None
    shapes = read_shapes(content)
    try:
        return plan_of_shapes(shapes, choices or Choices(), base), shapes
    except DocumentError as error:
        return FromFile(document={}, faults=error.errors), shapes
