"""Tables of a file: sheets of rows of cells, each with its location in the file."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta

CellValue = str | int | float | bool | date | time | timedelta | None

MAX_ROWS = 20_000
"""Of one sheet. A building of a thousand columns has some 16,000 checks. Project
choice."""

MAX_COLUMNS = 64
MAX_CELLS = 400_000
MAX_SHEETS = 60


@dataclass(frozen=True, slots=True)
class Cell:
    """The content of a cell.

    Attributes
    ----------
    decimals : decimals that the cell's format shows of a number.
    is_computed : true if a formula gave the value.
    error : why the value cannot be used; empty if it can.
    """

    value: CellValue = None
    decimals: int = 0
    is_computed: bool = False
    error: str = ""

    @property
    def is_blank(self) -> bool:
        """True if the cell is empty."""
        value = self.value
        empty = value is None or (isinstance(value, str) and not value.strip())
        return empty and not self.error

    @property
    def text(self) -> str:
        """The text of the cell; empty for other values."""
        return self.value.strip() if isinstance(self.value, str) else ""


BLANK_CELL = Cell()


@dataclass(frozen=True, slots=True)
class Row:
    """A row that is not blank, with its number in the file."""

    number: int
    cells: tuple[Cell, ...]

    def cell(self, column: int) -> Cell:
        """Return a cell; an empty one past the end of the row."""
        return self.cells[column] if column < len(self.cells) else BLANK_CELL


@dataclass(frozen=True, slots=True)
class Sheet:
    """Rows under one name.

    Attributes
    ----------
    is_csv : true for a CSV file, whose locations are lines instead of cells.
    """

    name: str
    rows: tuple[Row, ...]
    is_csv: bool = False

    @property
    def location(self) -> str:
        """Location of the sheet as a whole."""
        if not self.is_csv:
            return self.name
        return f"line {self.rows[0].number}" if self.rows else "the file"

    def row_location(self, row: int) -> str:
        """Return the location of a row."""
        return f"line {row}" if self.is_csv else f"{self.name} row {row}"

    def cell_location(self, row: int, column: int, heading: str = "") -> str:
        """Return the location of a cell: sheet and cell, or line and column."""
        if self.is_csv:
            return f"line {row}, {heading or f'column {column + 1}'}"
        return f"{self.name} {column_letters(column)}{row}"


def column_letters(column: int) -> str:
    """Return the letters of a column, counted from 0: A to Z, then AA and so on."""
    text = ""
    number = column + 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


@dataclass(frozen=True, slots=True)
class Table:
    """A sheet to be written: headings over rows of text and numbers.

    Attributes
    ----------
    facts_above : labels over the headings, each to be filled in beside it.
    """

    name: str
    headings: Sequence[str]
    rows: Iterable[Sequence[str | int | float | None]]
    facts_above: Sequence[str] = ()
