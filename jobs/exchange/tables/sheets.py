"""Tables as they come in: sheets of rows of cells, each with its place in the file."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta

from jobs.exchange.input.json_reader import DocumentError, DocumentIssue

CellValue = str | int | float | bool | date | time | timedelta | None

MAX_ROWS = 20_000
"""Of one sheet; a building of a thousand columns has some 16 000 checks. Ours."""

MAX_COLUMNS = 64
MAX_CELLS = 400_000
MAX_SHEETS = 60


@dataclass(frozen=True, slots=True)
class Cell:
    """What is written in a cell.

    Attributes
    ----------
    decimals : how many its format shows, of a number.
    computed : whether a formula gave the value.
    fault : why the value cannot be used, empty where it can.
    """

    value: CellValue = None
    decimals: int = 0
    is_computed: bool = False
    error: str = ""

    @property
    def is_blank(self) -> bool:
        """Whether nothing is written."""
        value = self.value
        empty = value is None or (isinstance(value, str) and not value.strip())
        return empty and not self.error

    @property
    def text(self) -> str:
        """What is written, where it is text."""
        return self.value.strip() if isinstance(self.value, str) else ""


BLANK_CELL = Cell()


@dataclass(frozen=True, slots=True)
class Row:
    """A row that is not blank, and its number in the file."""

    number: int
    cells: tuple[Cell, ...]

    def cell(self, column: int) -> Cell:
        """Give a cell; past the end of the row nothing is written."""
        return self.cells[column] if column < len(self.cells) else BLANK_CELL


@dataclass(frozen=True, slots=True)
class Sheet:
    """Rows that belong together.

    Attributes
    ----------
    lined : whether it is of a CSV file, where places are lines, not cells.
    """

    name: str
    rows: tuple[Row, ...]
    is_csv: bool = False

    @property
    def location(self) -> str:
        """Where the sheet as a whole stands."""
        if not self.is_csv:
            return self.name
        return f"line {self.rows[0].number}" if self.rows else "the file"

    def row_location(self, row: int) -> str:
        """Where a row stands."""
        return f"line {row}" if self.is_csv else f"{self.name} row {row}"

    def cell_location(self, row: int, column: int, heading: str = "") -> str:
        """Where a cell stands: sheet and cell, or line and column."""
        if self.is_csv:
            return f"line {row}, {heading or f'column {column + 1}'}"
        return f"{self.name} {column_letters(column)}{row}"


def column_letters(column: int) -> str:
    """Letter a column of a sheet, from 0: A to Z, then AA and so on."""
    text = ""
    number = column + 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


@dataclass(frozen=True, slots=True)
class Table:
    """A sheet as it goes out: headings over rows of text and numbers.

    Attributes
    ----------
    above : words that stand over the headings, each to be filled in beside it.
    """

    name: str
    headings: Sequence[str]
    rows: Iterable[Sequence[str | int | float | None]]
    facts_above: Sequence[str] = ()


def build_file_error(place: str, message: str) -> DocumentError:
    """Refuse a file as a whole."""
    return DocumentError([DocumentIssue(place, message)])
