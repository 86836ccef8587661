"""Sheets of readings to entries of the exchange document, with their places.

A sheet is a list with a column for every member its readings have, or one that was
printed, filled in by hand and typed off: what holds for all of it stands above the
headings, and a row with nothing read is passed over.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, tzinfo
from typing import Any

from core.units import LengthUnit
from jobs.exchange.from_file import placed
from jobs.exchange.reader import DocumentError, Refusal
from jobs.exchange.tables.columns import (
    HEADING_ROWS,
    CellError,
    Column,
    Headed,
    Heading,
    Means,
    Units,
    find_columns,
    plain,
    value_of,
)
from jobs.exchange.tables.layout import FOR_PEOPLE, READINGS, SHARED_FACTS
from jobs.exchange.tables.sheets import Cell, Row, Sheet
from jobs.plan.sheet import Kind

NOON = time(12)
"""When a reading was taken of which only the day is known. Ours."""

_LEVELLED = ("level", "benchmark")
_NO_TAPE = (*_LEVELLED, "strength", "plumb")
_STRENGTH = Column("value", "Value", Means.QUANTITY)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingsFile:
    """What was understood of a file of readings.

    Attributes
    ----------
    entries : readings as the exchange document has them; null stands for a cell that
        cannot be used, so that the reading is refused with the rest of them.
    places : where in the file the value of a JSON Pointer stands.
    faults : why a cell cannot be used, by its place.
    left : what was passed over, by its place in the file.
    """

    entries: Sequence[object]
    places: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    left: tuple[Refusal, ...] = ()

    def told(self, refused: Iterable[Refusal]) -> list[Refusal]:
        """Tell what was refused by its place in the file, each once."""
        found = [placed(refusal, self.places) for refusal in refused]
        return list(
            dict.fromkeys(
                Refusal(each.pointer, self.faults.get(each.pointer, each.message))
                for each in found
            )
        )


def readings_of_sheets(
    sheets: Iterable[Sheet], *, unit: LengthUnit, zone: tzinfo = UTC
) -> ReadingsFile:
    """Turn sheets of readings into entries.

    Parameters
    ----------
    sheets : those of a workbook or a CSV file; other kinds of sheet are passed over.
    unit : of a number alone, where its heading says nothing else: the plan's.
    zone : of a time that states none.

    Raises
    ------
    DocumentError
        If no line names the columns, or names others.
    """
    listed = list(sheets)
    named = [each for each in listed if READINGS.named(each.name) and each.rows]
    likely = named or [each for each in listed if _score(each) >= 2]
    if not likely:
        likely = [each for each in listed if each.rows][:1]
    if not likely:
        raise DocumentError([Refusal("", f"There is nothing in it. {_NEEDED}")])
    reader = _Reader(Units(length=unit, zone=zone, exact=True))
    for sheet in likely:
        reader.read(sheet)
    if reader.refused:
        raise DocumentError(reader.refused)
    return ReadingsFile(
        entries=reader.entries,
        places=reader.places,
        faults=reader.faults,
        left=tuple(reader.left),
    )


_NEEDED = (
    "A line names the columns: “check”, or “kind” and “position”, and “value” are "
    "needed."
)


def _score(sheet: Sheet) -> int:
    """Count the columns of readings a sheet names, where it has what is read."""
    found = _headings(sheet)[1]
    return len(found) if "value" in found and found.keys() & {"check", "kind"} else 0


def _headings(sheet: Sheet) -> tuple[int, dict[str, Heading], list[int]]:
    """Find the row that names the most columns: its index, they, and what is none."""
    best: tuple[int, dict[str, Heading], list[int]] = (0, {}, [])
    for index, row in enumerate(sheet.rows[:HEADING_ROWS]):
        found, strange = find_columns(row, READINGS.columns)
        if len(found) > len(best[1]):
            best = (index, found, strange)
    return best


@dataclass
class _Reader:
    """Entries in the making."""

    units: Units
    entries: list[dict[str, Any]] = field(default_factory=list)
    places: dict[str, str] = field(default_factory=dict)
    refused: list[Refusal] = field(default_factory=list)
    faults: dict[str, str] = field(default_factory=dict)
    left: list[Refusal] = field(default_factory=list)
    shared_at: dict[str, str] = field(default_factory=dict)

    def read(self, sheet: Sheet) -> None:
        table = self._head(sheet)
        if table is None:
            return
        shared = self._shared(table)
        unread: list[int] = []
        for row in table.rows:
            if sheet.lined and _filled(row) > self._width(table):
                self._refuse_width(table, row)
            elif all(self._blank(table, row, name) for name in ("value", "again")):
                unread.append(row.number)
            else:
                self._entry(table, row, shared)
        if unread:
            rows = ", ".join(map(str, unread[:20])) + (
                ", …" if len(unread) > 20 else ""
            )
            word = "line" if sheet.lined else "row"
            msg = f"Nothing was read in {word}{'s' * (len(unread) > 1)} {rows}."
            self.left.append(Refusal(sheet.name or "the file", msg))

    def _head(self, sheet: Sheet) -> Headed | None:
        index, found, strange = _headings(sheet)
        if not found:
            self.refused.append(Refusal(sheet.place, _NEEDED))
            return None
        row = sheet.rows[index]
        for at in strange:
            self._refuse_heading(sheet, row, at, found)
        lacks = [] if found.keys() & {"check", "kind"} else ["check"]
        lacks += [] if found.keys() & {"value", "again"} else ["value"]
        for name in lacks:
            msg = f"The column “{name}” is needed. {_NEEDED}"
            self.refused.append(Refusal(sheet.row_place(row.number), msg))
        if lacks or strange:
            return None
        below, above = sheet.rows[index + 1 :], sheet.rows[:index]
        return Headed(sheet, found, below, (), above)

    def _refuse_heading(
        self, sheet: Sheet, row: Row, at: int, found: Mapping[str, Heading]
    ) -> None:
        text = str(row.cells[at].value).strip()
        known = ", ".join(column.heading for column in READINGS.columns)
        msg = f"There is no column “{text}”; there are: {known}."
        if plain(text) in {plain(each.text) for each in found.values()}:
            msg = f"The column “{text}” is there more than once."
        self.refused.append(Refusal(sheet.cell_place(row.number, at), msg))

    def _width(self, table: Headed) -> int:
        return 1 + max(heading.at for heading in table.headings.values())

    def _refuse_width(self, table: Headed, row: Row) -> None:
        msg = (
            f"There are {_filled(row)} cells, and {self._width(table)} columns: put "
            "quotes around a cell that has the separator in it, and double a quote "
            "inside."
        )
        place = table.sheet.row_place(row.number)
        self.faults[place] = msg
        self.places[f"/readings/{len(self.entries)}"] = place
        self.entries.append({})

    def _blank(self, table: Headed, row: Row, member: str) -> bool:
        heading = table.headings.get(member)
        return heading is None or row.at(heading.at).blank

    # ---- one row ------------------------------------------------------------

    def _entry(self, table: Headed, row: Row, shared: Mapping[str, Any]) -> None:
        """Read a row into an entry, and another where it was read again."""
        cells = {
            heading.column.member: (heading, cell)
            for heading, cell in table.cells(row)
            if heading.column.member not in FOR_PEOPLE
        }
        entry: dict[str, Any] = {}
        check = self._check(table, row, cells)
        if check != "":
            entry["check"] = check
        kind = (check or "").partition(":")[0]
        entry |= _shared_by(kind, shared)
        for member, (heading, cell) in cells.items():
            if member in ("check", "kind", "position", "rod") or cell.blank:
                continue
            if member in ("value", "again") and kind == Kind.STRENGTH:
                heading = Heading(_STRENGTH, heading.at, heading.text, heading.unit)
            entry[member] = self._value(cell, heading, table.place(row, member))
        twice, again = "again" in entry, entry.pop("again", None)
        if "value" in entry or not twice:
            self._put(table, row, entry, "value")
        if twice:
            own = {name: value for name, value in entry.items() if name != "supersedes"}
            if "id" in own:
                own["id"] = f"{own['id']}-again"
            self._put(table, row, {**own, "value": again}, "again")

    def _check(
        self,
        table: Headed,
        row: Row,
        cells: Mapping[str, tuple[Heading, Cell]],
    ) -> str | None:
        """Read which check a row is of: its key, or kind, position and rod.

        None where a cell cannot be used, empty where none is filled in.
        """
        words = {}
        for member in ("check", "kind", "position", "rod"):
            heading, cell = cells.get(member, (None, None))
            if heading is None or cell is None or cell.blank:
                continue
            value = self._value(cell, heading, table.place(row, member))
            if value is None:
                return None
            words[member] = str(value)
        if "check" in words or "kind" not in words:
            return words.get("check", "")
        kind = plain(words["kind"]).replace(" ", "_")
        key = f"{kind}:{words.get('position', '')}"
        return f"{key}.{words['rod']}" if "rod" in words else key

    def _put(self, table: Headed, row: Row, entry: dict[str, Any], value: str) -> None:
        pointer = f"/readings/{len(self.entries)}"
        self.places[pointer] = table.sheet.row_place(row.number)
        kind = str(entry.get("check", "")).partition(":")[0]
        tool = "level" if kind in _LEVELLED else "tape"
        for member, place in self.shared_at.items():
            at = "instrument" if member == tool else member
            self.places[f"{pointer}/{at}"] = place
        for member in table.headings:
            own = f"{pointer}/{member}"
            if own not in self.places or not self._blank(table, row, member):
                self.places[own] = table.place(row, member)
        self.places[f"{pointer}/value"] = table.place(row, value)
        if "check" not in table.headings or self._blank(table, row, "check"):
            key = "position" if "position" in table.headings else "kind"
            self.places[f"{pointer}/check"] = table.place(row, key)
        self.entries.append(entry)

    def _value(
        self, cell: Cell, heading: Heading, place: str
    ) -> str | int | float | bool | None:
        try:
            return value_of(cell, heading, self.units)
        except CellError as error:
            self.faults[place] = str(error)
            return None

    # ---- what stands above --------------------------------------------------

    def _shared(self, table: Headed) -> dict[str, Any]:
        """Read what stands above the headings: who, when, and with what."""
        known = {
            plain(name): column
            for column in SHARED_FACTS
            for name in (column.heading, *column.also)
        }
        shared: dict[str, Any] = {}
        self.shared_at = {}
        for row in table.above:
            filled = [i for i, cell in enumerate(row.cells) if not cell.blank]
            column = known.get(plain(row.cells[filled[0]].text)) if filled else None
            if column is None or len(filled) < 2:
                continue
            place = table.sheet.cell_place(row.number, filled[1], column.heading)
            cell = self._with_time(row.cells[filled[1]], column, place)
            shared[column.member] = self._value(
                cell, Heading(column, filled[1], ""), place
            )
            self.shared_at[column.member] = place
        return shared

    def _with_time(self, cell: Cell, column: Column, place: str) -> Cell:
        """Give a day alone its noon, and say so."""
        if column.means is not Means.MOMENT:
            return cell
        day = cell.value
        if isinstance(day, str):
            try:
                day = date.fromisoformat(day.strip())
            except ValueError:
                return cell
        midnight = isinstance(day, datetime) and day.time() == time()
        if not isinstance(day, date) or (isinstance(day, datetime) and not midnight):
            return cell
        msg = "Only the day is given: noon is taken for the time."
        self.left.append(Refusal(place, msg))
        return Cell(datetime.combine(day, NOON))


def _filled(row: Row) -> int:
    """Count the cells of a row up to the last with something in it."""
    return max(i for i, cell in enumerate(row.cells, start=1) if not cell.blank)


def _shared_by(kind: str, shared: Mapping[str, Any]) -> dict[str, Any]:
    """Give a reading of a kind what is shared by all it can be shared with."""
    entry = {name: shared[name] for name in ("by", "at") if name in shared}
    if kind in _LEVELLED:
        tool, further = "level", ("setup",)
    elif kind in _NO_TAPE:
        return entry
    else:
        tool, further = "tape", ("temperature",)
    if tool in shared:
        entry["instrument"] = shared[tool]
    return entry | {name: shared[name] for name in further if name in shared}
