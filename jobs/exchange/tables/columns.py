"""The columns of a sheet: their headings, and the values of their cells."""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from enum import StrEnum
from typing import get_args

from core.units import LengthUnit
from jobs.exchange.issues import DocumentIssue, IssueCode, file_issue
from jobs.exchange.tables.sheets import Cell, CellValue, Row, Sheet

MAX_HEADING_ROW = 40
"""Last row that may have the headings of a table."""

MAX_HEADING_LENGTH = 80

_BARE = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]{1,3})?")
_MIXED = re.compile(r"[-+]?(?:[0-9]+ )?[0-9]+/[0-9]+")
_UNIT = re.compile(r"(?P<words>.*?)\s*[\[(](?P<unit>[^\])]*)[\])]", re.DOTALL)
_ZONELESS = re.compile(
    r"(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})[Tt ]+"
    r"(?P<time>[0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,6})?)?)"
)
_UNITS = {"°f": "degF", "°c": "degC", "f": "degF", "c": "degC", "°": "deg"}
_YES = {"yes": True, "true": True, "no": False, "false": False}


class CellType(StrEnum):
    """The type of a column's cells."""

    NAME = "name"
    LENGTH = "length"
    QUANTITY = "quantity"  # a strength, temperature, force or angle, with its unit
    NUMBER = "number"
    RATIO = "ratio"
    DATE = "date"
    MOMENT = "moment"
    FLAG = "flag"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class SheetColumn:
    """A column: the member of the document it fills, and its possible headings."""

    member: str
    heading: str
    cell_type: CellType = CellType.NAME
    aliases: tuple[str, ...] = ()
    required: bool = False


@dataclass(frozen=True, slots=True)
class SheetKind:
    """A kind of sheet: its possible names, and its columns."""

    name: str
    columns: tuple[SheetColumn, ...]
    aliases: tuple[str, ...] = ()

    def matches_name(self, name: str) -> bool:
        """Return True if a sheet of this name is of this kind."""
        return normalise_heading(name) in {
            normalise_heading(each) for each in (self.name, *self.aliases)
        }


@dataclass(frozen=True, slots=True)
class ColumnHeading:
    """A heading of a file: its column, its index in the row, and the unit it names."""

    column: SheetColumn
    index: int
    text: str
    unit: str = ""


def normalise_heading(text: str) -> str:
    """Return a heading without differences of case, hyphens and a final colon."""
    return re.sub(r"[\s_\-]+", " ", text.strip().rstrip(":*").lower()).strip()


def split_unit(heading: str) -> tuple[str, str]:
    """Split a heading such as `Along [ft]` into its name and its unit."""
    found = _UNIT.fullmatch(heading.strip())
    if found is None:
        return heading, ""
    unit = found["unit"].strip()
    return found["words"], _UNITS.get(unit.lower(), unit)


def find_columns(
    row: Row, columns: Sequence[SheetColumn]
) -> tuple[dict[str, ColumnHeading], list[int]]:
    """Find the columns that a row of headings names.

    Returns
    -------
    found : dict
        The headings, by member.
    unknown : list of int
        Indices of cells that name no column, or one that is there already.
    """
    known = {
        normalise_heading(name): column
        for column in columns
        for name in (column.member, *column.aliases, column.heading)
    }
    found: dict[str, ColumnHeading] = {}
    unknown: list[int] = []
    for at, cell in enumerate(row.cells):
        text = "" if cell.value is None else str(cell.value).strip()
        if not text:
            continue
        text = text[:MAX_HEADING_LENGTH]
        column = known.get(normalise_heading(text))
        words, unit = (text, "") if column else split_unit(text)
        column = column or known.get(normalise_heading(words))
        if column is None or column.member in found:
            unknown.append(at)
        else:
            found[column.member] = ColumnHeading(column, at, text, unit)
    return found, unknown


@dataclass(frozen=True, slots=True)
class HeadedSheet:
    """A sheet with its headings.

    Attributes
    ----------
    headings : the columns it has, by member.
    rows : those below the headings.
    unknown : headings that name none of its columns.
    rows_above : those above the headings.
    """

    sheet: Sheet
    headings: Mapping[str, ColumnHeading]
    rows: tuple[Row, ...]
    unknown: tuple[DocumentIssue, ...]
    rows_above: tuple[Row, ...]

    def location(self, row: Row, member: str) -> str:
        """Return the location of a member's cell, or of the row without it."""
        heading = self.headings.get(member)
        if heading is None:
            return self.sheet.row_location(row.number)
        return self.sheet.cell_location(row.number, heading.index, heading.text)

    def iterate_cells(self, row: Row) -> Iterator[tuple[ColumnHeading, Cell]]:
        """Generate the cells of a row that have a column."""
        for heading in self.headings.values():
            yield heading, row.cell(heading.index)


def find_headings(sheet: Sheet, columns: Sequence[SheetColumn]) -> HeadedSheet | None:
    """Find the headings of a sheet; None if no row names the required columns."""
    required = {column.member for column in columns if column.required}
    for index, row in enumerate(sheet.rows[:MAX_HEADING_ROW]):
        found, unknown = find_columns(row, columns)
        if not found or not required <= found.keys():
            continue
        allowed = ", ".join(column.heading for column in columns)
        issues = [
            file_issue(
                sheet.cell_location(row.number, at),
                f"Unknown or repeated column “{row.cells[at].value}”; the columns here "
                f"are {allowed}.",
                IssueCode.IGNORED,
            )
            for at in unknown
        ]
        below = sheet.rows[index + 1 :]
        return HeadedSheet(sheet, found, below, tuple(issues), sheet.rows[:index])
    return None


# ---- values of cells ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CellUnits:
    """Units of numbers, and time zone of times, that state none.

    Attributes
    ----------
    length : of a bare number whose heading names no unit.
    zone : of a time that states none.
    keep_decimals : true to turn a bare number into text with its unit and its decimals:
        those of a reading say how finely it was read.
    """

    length: LengthUnit | None = None
    zone: tzinfo = UTC
    keep_decimals: bool = False


class CellError(ValueError):
    """A cell that cannot be used: what is wrong, and what would be right."""


def read_cell(
    cell: Cell, heading: ColumnHeading, units: CellUnits
) -> str | int | float | bool:
    """Return a cell's value as the building document has it.

    Raises
    ------
    CellError
        If the cell cannot be used.
    """
    if cell.error:
        raise CellError(cell.error)
    return _CELL_READERS[heading.column.cell_type](cell, heading.unit, units)


def read_cell_number(cell: Cell) -> int | float | None:
    """Return a cell's plain number; None if it has none."""
    value: CellValue = cell.value
    if isinstance(value, bool) or value is None:
        return None
    if isinstance(value, str):
        text = value.strip()
        if not _BARE.fullmatch(text):
            return None
        value = float(text) if re.search(r"[.eE]", text) else int(text)
    if not isinstance(value, int | float):
        return None
    if cell.is_computed:
        value = float(f"{value:.15g}")  # spreadsheets show 15 digits
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _read_name(cell: Cell, unit: str, units: CellUnits) -> str:
    value = cell.value
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{value:.15g}"
    raise CellError(_describe_wrong_value(value, "a name"))


def _read_note(cell: Cell, unit: str, units: CellUnits) -> str:
    return cell.value if isinstance(cell.value, str) else _read_name(cell, unit, units)


def _read_length(cell: Cell, unit: str, units: CellUnits) -> str | int | float:
    number = read_cell_number(cell)
    if number is not None:
        own = unit or (units.length if units.keep_decimals else "")
        # A bare number is left to length_unit, unless its decimals must be kept.
        return f"{_format_number(cell, number)} {own}" if own else number
    if not isinstance(cell.value, str):
        raise CellError(_describe_wrong_value(cell.value, "a length"))
    text = cell.value.strip()
    named = unit or units.length or ""
    # `3/4` under a heading in inches is a length; without a unit it may be a date.
    mixed = _MIXED.fullmatch(text) and named in ("in", "ft")
    return f"{text} {named}" if mixed else text


def _format_number(cell: Cell, number: float) -> str:
    """Format a number with the decimals it was typed with or is shown with."""
    if isinstance(cell.value, str):
        text = cell.value.strip().removeprefix("+")
        return text if re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", text) else f"{number:.15g}"
    text = f"{number:.15g}"
    decimals = len(text.partition(".")[2])
    return (
        text
        if "e" in text or decimals >= cell.decimals
        else (f"{number:.{cell.decimals}f}")
    )


def _read_quantity(cell: Cell, unit: str, units: CellUnits) -> str | int | float:
    number = read_cell_number(cell)
    if number is not None:
        return f"{_format_number(cell, number)} {unit}" if unit else number
    return _read_text(cell, "text with its unit")


def _read_number(cell: Cell, unit: str, units: CellUnits) -> str | int | float:
    number = read_cell_number(cell)
    return _read_text(cell, "a number") if number is None else number


def _read_date(cell: Cell, unit: str, units: CellUnits) -> str:
    value = cell.value
    if isinstance(value, datetime):
        value = value.date()
    return value.isoformat() if isinstance(value, date) else _read_text(cell, "a date")


def _read_moment(cell: Cell, unit: str, units: CellUnits) -> str:
    value = cell.value
    if isinstance(value, datetime):
        return _format_moment(value, units.zone)
    text = _read_text(cell, "a date and time")
    if found := _ZONELESS.fullmatch(text):
        try:
            moment = datetime.fromisoformat(f"{found['day']}T{found['time']}")
        except ValueError:
            return text  # which the parser refuses
        return _format_moment(moment, units.zone)
    return text


def _format_moment(moment: datetime, zone: tzinfo) -> str:
    text = moment.replace(tzinfo=zone).isoformat()
    return text.removesuffix("+00:00") + "Z" if text.endswith("+00:00") else text


def _read_flag(cell: Cell, unit: str, units: CellUnits) -> str | bool:
    if isinstance(cell.value, bool):
        return cell.value
    text = _read_text(cell, "yes or no")
    return _YES.get(text.lower(), text)


def _read_text(cell: Cell, expected: str) -> str:
    if isinstance(cell.value, str):
        return cell.value.strip()
    if isinstance(cell.value, int | float) and not isinstance(cell.value, bool):
        return f"{cell.value:.15g}"
    raise CellError(_describe_wrong_value(cell.value, expected))


def _describe_wrong_value(value: CellValue, expected: str) -> str:
    """Describe a value of the wrong type; spreadsheets turn fractions into dates."""
    if isinstance(value, date):
        day = value.date() if isinstance(value, datetime) else value
        return (
            f"This cell holds the date {day.isoformat()}, not {expected}; if "
            f"{day.month}/{day.day} or {day.month}-{day.day} was typed, write it as "
            "text, a length with its unit."
        )
    return f"This cell holds {value}, not {expected}."


_CELL_READERS: Mapping[
    CellType, Callable[[Cell, str, CellUnits], str | int | float | bool]
] = {
    CellType.NAME: _read_name,
    CellType.LENGTH: _read_length,
    CellType.QUANTITY: _read_quantity,
    CellType.NUMBER: _read_number,
    CellType.RATIO: _read_number,
    CellType.DATE: _read_date,
    CellType.MOMENT: _read_moment,
    CellType.FLAG: _read_flag,
    CellType.NOTE: _read_note,
}

LENGTH_UNITS: tuple[str, ...] = get_args(LengthUnit)


def column_headings(columns: Iterable[SheetColumn]) -> list[str]:
    """Return the headings of columns, as they are written."""
    return [column.heading for column in columns]
