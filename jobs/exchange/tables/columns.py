"""What the columns of a table are called, and what their cells become."""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from enum import StrEnum
from typing import get_args

from core.units import LengthUnit
from jobs.exchange.reader import Refusal
from jobs.exchange.tables.sheets import Cell, CellValue, Row, Sheet

HEADING_ROWS = 40
"""So far down the headings of a table are looked for."""

LONGEST_HEADING = 80

_BARE = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]{1,3})?")
_MIXED = re.compile(r"[-+]?(?:[0-9]+ )?[0-9]+/[0-9]+")
_UNIT = re.compile(r"(?P<words>.*?)\s*[\[(](?P<unit>[^\])]*)[\])]", re.DOTALL)
_ZONELESS = re.compile(
    r"(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})[Tt ]+"
    r"(?P<time>[0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,6})?)?)"
)
_UNITS = {"°f": "degF", "°c": "degC", "f": "degF", "c": "degC", "°": "deg"}
_YES = {"yes": True, "true": True, "no": False, "false": False}


class Means(StrEnum):
    """What a cell of a column is."""

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
class Column:
    """A column: the member of the document it fills, and what it may be called."""

    member: str
    heading: str
    means: Means = Means.NAME
    also: tuple[str, ...] = ()
    needed: bool = False


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of table: what it may be called, and its columns."""

    name: str
    columns: tuple[Column, ...]
    also: tuple[str, ...] = ()

    def named(self, name: str) -> bool:
        """Whether a sheet of this name is one."""
        return plain(name) in {plain(each) for each in (self.name, *self.also)}


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading as found: its column, where it stands, and the unit it states."""

    column: Column
    at: int
    text: str
    unit: str = ""


def plain(text: str) -> str:
    """Write words so that case, hyphens and a colon make no difference."""
    return re.sub(r"[\s_\-]+", " ", text.strip().rstrip(":*").lower()).strip()


def split_unit(heading: str) -> tuple[str, str]:
    """Split a heading such as `Along [ft]` into its words and its unit."""
    found = _UNIT.fullmatch(heading.strip())
    if found is None:
        return heading, ""
    unit = found["unit"].strip()
    return found["words"], _UNITS.get(unit.lower(), unit)


def find_columns(
    row: Row, columns: Sequence[Column]
) -> tuple[dict[str, Heading], list[int]]:
    """Find the columns a row of headings names, and the cells that name none."""
    known = {
        plain(name): column
        for column in columns
        for name in (column.member, *column.also, column.heading)
    }
    found: dict[str, Heading] = {}
    strange: list[int] = []
    for at, cell in enumerate(row.cells):
        text = "" if cell.value is None else str(cell.value).strip()
        if not text:
            continue
        text = text[:LONGEST_HEADING]
        column = known.get(plain(text))
        words, unit = (text, "") if column else split_unit(text)
        column = column or known.get(plain(words))
        if column is None or column.member in found:
            strange.append(at)
        else:
            found[column.member] = Heading(column, at, text, unit)
    return found, strange


@dataclass(frozen=True, slots=True)
class Headed:
    """A sheet whose headings were found.

    Attributes
    ----------
    headings : the columns it has, by member.
    rows : those below the headings.
    strange : where headings stand that name no column of it, and what they say.
    above : the rows over the headings.
    """

    sheet: Sheet
    headings: Mapping[str, Heading]
    rows: tuple[Row, ...]
    strange: tuple[Refusal, ...]
    above: tuple[Row, ...]

    def place(self, row: Row, member: str) -> str:
        """Where the cell of a member stands; the row, where it has no column."""
        heading = self.headings.get(member)
        if heading is None:
            return self.sheet.row_place(row.number)
        return self.sheet.cell_place(row.number, heading.at, heading.text)

    def cells(self, row: Row) -> Iterator[tuple[Heading, Cell]]:
        """Go through the cells of a row that have a column."""
        for heading in self.headings.values():
            yield heading, row.at(heading.at)


def head(sheet: Sheet, columns: Sequence[Column]) -> Headed | None:
    """Find the headings of a sheet; None where no row names the columns needed."""
    needed = {column.member for column in columns if column.needed}
    for index, row in enumerate(sheet.rows[:HEADING_ROWS]):
        found, strange = find_columns(row, columns)
        if not found or not needed <= found.keys():
            continue
        known = ", ".join(column.heading for column in columns)
        told = [
            Refusal(
                sheet.cell_place(row.number, at),
                f"There is no column “{row.cells[at].value}” here, or it is there "
                f"twice; the columns are {known}.",
            )
            for at in strange
        ]
        below = sheet.rows[index + 1 :]
        return Headed(sheet, found, below, tuple(told), sheet.rows[:index])
    return None


# ---- what a cell becomes ----------------------------------------------------


@dataclass(frozen=True, slots=True)
class Units:
    """What numbers and times without one are in.

    Attributes
    ----------
    length : of a number alone, where a heading says nothing else.
    zone : of a time that states none.
    exact : whether a number alone keeps its decimals, as text with its unit: a
        reading's say how finely it was read.
    """

    length: LengthUnit | None = None
    zone: tzinfo = UTC
    exact: bool = False


class CellError(ValueError):
    """A cell that cannot be used: why, and what would be right."""


def value_of(cell: Cell, heading: Heading, units: Units) -> str | int | float | bool:
    """Turn a cell into a value of the exchange document.

    Raises
    ------
    CellError
        If it cannot be one.
    """
    if cell.fault:
        raise CellError(cell.fault)
    return _READ[heading.column.means](cell, heading.unit, units)


def number_of(cell: Cell) -> int | float | None:
    """Read a cell as a plain number; None where it is none."""
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
    if cell.computed:
        value = float(f"{value:.15g}")  # as the spreadsheet itself shows it
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _name(cell: Cell, unit: str, units: Units) -> str:
    value = cell.value
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{value:.15g}"
    raise CellError(_instead(value, "a name"))


def _note(cell: Cell, unit: str, units: Units) -> str:
    return cell.value if isinstance(cell.value, str) else _name(cell, unit, units)


def _length(cell: Cell, unit: str, units: Units) -> str | int | float:
    number = number_of(cell)
    if number is not None:
        own = unit or (units.length if units.exact else "")
        return f"{_digits(cell, number)} {own}" if own else number
    if not isinstance(cell.value, str):
        raise CellError(_instead(cell.value, "a length"))
    text = cell.value.strip()
    named = unit or units.length or ""
    mixed = _MIXED.fullmatch(text) and named in ("in", "ft")
    return f"{text} {named}" if mixed else text


def _digits(cell: Cell, number: float) -> str:
    """Write a number with the decimals it was typed or is shown with."""
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


def _quantity(cell: Cell, unit: str, units: Units) -> str | int | float:
    number = number_of(cell)
    if number is not None:
        return f"{_digits(cell, number)} {unit}" if unit else number
    return _text(cell, "text with its unit")


def _number(cell: Cell, unit: str, units: Units) -> str | int | float:
    number = number_of(cell)
    return _text(cell, "a number") if number is None else number


def _date(cell: Cell, unit: str, units: Units) -> str:
    value = cell.value
    if isinstance(value, datetime):
        value = value.date()
    return value.isoformat() if isinstance(value, date) else _text(cell, "a date")


def _moment(cell: Cell, unit: str, units: Units) -> str:
    value = cell.value
    if isinstance(value, datetime):
        return _zoned(value, units.zone)
    text = _text(cell, "a date and time")
    if found := _ZONELESS.fullmatch(text):
        try:
            moment = datetime.fromisoformat(f"{found['day']}T{found['time']}")
        except ValueError:
            return text  # to be refused where every other time is
        return _zoned(moment, units.zone)
    return text


def _zoned(moment: datetime, zone: tzinfo) -> str:
    text = moment.replace(tzinfo=zone).isoformat()
    return text.removesuffix("+00:00") + "Z" if text.endswith("+00:00") else text


def _flag(cell: Cell, unit: str, units: Units) -> str | bool:
    if isinstance(cell.value, bool):
        return cell.value
    text = _text(cell, "yes or no")
    return _YES.get(text.lower(), text)


def _text(cell: Cell, wanted: str) -> str:
    if isinstance(cell.value, str):
        return cell.value.strip()
    if isinstance(cell.value, int | float) and not isinstance(cell.value, bool):
        return f"{cell.value:.15g}"
    raise CellError(_instead(cell.value, wanted))


def _instead(value: CellValue, wanted: str) -> str:
    """Say what stands where something else is wanted; spreadsheets make dates."""
    if isinstance(value, date):
        day = value.date() if isinstance(value, datetime) else value
        return (
            f"This cell holds the date {day.isoformat()}, not {wanted}; if "
            f"{day.month}/{day.day} or {day.month}-{day.day} was typed, write it as "
            "text, a length with its unit."
        )
    return f"This cell holds {value}, not {wanted}."


_READ: Mapping[Means, Callable[[Cell, str, Units], str | int | float | bool]] = {
    Means.NAME: _name,
    Means.LENGTH: _length,
    Means.QUANTITY: _quantity,
    Means.NUMBER: _number,
    Means.RATIO: _number,
    Means.DATE: _date,
    Means.MOMENT: _moment,
    Means.FLAG: _flag,
    Means.NOTE: _note,
}

LENGTH_UNITS: tuple[str, ...] = get_args(LengthUnit)


def headings(columns: Iterable[Column]) -> list[str]:
    """Give the headings of columns, as they are written out."""
    return [column.heading for column in columns]
