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
from jobs.anchor_plan.check_keys import CheckKind
from jobs.exchange.imported_file import at_source_location
from jobs.exchange.input.json_reader import DocumentError, DocumentIssue
from jobs.exchange.tables.columns import (
    MAX_HEADING_ROW,
    CellError,
    CellType,
    CellUnits,
    ColumnHeading,
    HeadedSheet,
    SheetColumn,
    find_columns,
    normalise_heading,
    read_cell,
)
from jobs.exchange.tables.sheet_layout import (
    DISPLAY_ONLY_COLUMNS,
    READINGS_SHEET,
    SHARED_READING_FACTS,
)
from jobs.exchange.tables.sheets import Cell, Row, Sheet

NOON = time(12)
"""When a reading was taken of which only the day is known. Ours."""

_LEVEL_KINDS = ("level", "benchmark")
_KINDS_WITHOUT_TAPE = (*_LEVEL_KINDS, "strength", "plumb")
_STRENGTH_COLUMN = SheetColumn("value", "Value", CellType.QUANTITY)


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportedReadings:
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
    source_locations: Mapping[str, str] = field(default_factory=dict)
    cell_errors: Mapping[str, str] = field(default_factory=dict)
    ignored: tuple[DocumentIssue, ...] = ()

    def locate_issues(self, refused: Iterable[DocumentIssue]) -> list[DocumentIssue]:
        """Tell what was refused by its place in the file, each once."""
        found = [
            at_source_location(refusal, self.source_locations) for refusal in refused
        ]
        return list(
            dict.fromkeys(
                DocumentIssue(
                    each.pointer, self.cell_errors.get(each.pointer, each.message)
                )
                for each in found
            )
        )


def import_reading_sheets(
    sheets: Iterable[Sheet], *, unit: LengthUnit, zone: tzinfo = UTC
) -> ImportedReadings:
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
    named = [
        each for each in listed if READINGS_SHEET.matches_name(each.name) and each.rows
    ]
    likely = named or [each for each in listed if _count_reading_columns(each) >= 2]
    if not likely:
        likely = [each for each in listed if each.rows][:1]
    if not likely:
        raise DocumentError(
            [DocumentIssue("", f"There is nothing in it. {_NEEDED_COLUMNS_MESSAGE}")]
        )
    reader = _ReadingsReader(CellUnits(length=unit, zone=zone, keep_decimals=True))
    for sheet in likely:
        reader.read(sheet)
    if reader.refused:
        raise DocumentError(reader.refused)
    return ImportedReadings(
        entries=reader.entries,
        source_locations=reader.places,
        cell_errors=reader.faults,
        ignored=tuple(reader.left),
    )


_NEEDED_COLUMNS_MESSAGE = (
    "A line names the columns: “check”, or “kind” and “position”, and “value” are "
    "needed."
)


def _count_reading_columns(sheet: Sheet) -> int:
    """Count the columns of readings a sheet names, where it has what is read."""
    found = _find_headings(sheet)[1]
    return len(found) if "value" in found and found.keys() & {"check", "kind"} else 0


def _find_headings(sheet: Sheet) -> tuple[int, dict[str, ColumnHeading], list[int]]:
    """Find the row that names the most columns: its index, they, and what is none."""
    best: tuple[int, dict[str, ColumnHeading], list[int]] = (0, {}, [])
    for index, row in enumerate(sheet.rows[:MAX_HEADING_ROW]):
        found, strange = find_columns(row, READINGS_SHEET.columns)
        if len(found) > len(best[1]):
            best = (index, found, strange)
    return best


@dataclass
class _ReadingsReader:
    """Entries in the making."""

    units: CellUnits
    entries: list[dict[str, Any]] = field(default_factory=list)
    places: dict[str, str] = field(default_factory=dict)
    refused: list[DocumentIssue] = field(default_factory=list)
    faults: dict[str, str] = field(default_factory=dict)
    left: list[DocumentIssue] = field(default_factory=list)
    shared_at: dict[str, str] = field(default_factory=dict)

    def read(self, sheet: Sheet) -> None:
        table = self._head(sheet)
        if table is None:
            return
        shared = self._shared(table)
        unread: list[int] = []
        for row in table.rows:
            if sheet.is_csv and _filled_width(row) > self._width(table):
                self._refuse_width(table, row)
            elif all(self._blank(table, row, name) for name in ("value", "again")):
                unread.append(row.number)
            else:
                self._entry(table, row, shared)
        if unread:
            rows = ", ".join(map(str, unread[:20])) + (
                ", …" if len(unread) > 20 else ""
            )
            word = "line" if sheet.is_csv else "row"
            msg = f"Nothing was read in {word}{'s' * (len(unread) > 1)} {rows}."
            self.left.append(DocumentIssue(sheet.name or "the file", msg))

    def _head(self, sheet: Sheet) -> HeadedSheet | None:
        index, found, strange = _find_headings(sheet)
        if not found:
            self.refused.append(DocumentIssue(sheet.location, _NEEDED_COLUMNS_MESSAGE))
            return None
        row = sheet.rows[index]
        for at in strange:
            self._refuse_heading(sheet, row, at, found)
        lacks = [] if found.keys() & {"check", "kind"} else ["check"]
        lacks += [] if found.keys() & {"value", "again"} else ["value"]
        for name in lacks:
            msg = f"The column “{name}” is needed. {_NEEDED_COLUMNS_MESSAGE}"
            self.refused.append(DocumentIssue(sheet.row_location(row.number), msg))
        if lacks or strange:
            return None
        below, above = sheet.rows[index + 1 :], sheet.rows[:index]
        return HeadedSheet(sheet, found, below, (), above)

    def _refuse_heading(
        self, sheet: Sheet, row: Row, at: int, found: Mapping[str, ColumnHeading]
    ) -> None:
        text = str(row.cells[at].value).strip()
        known = ", ".join(column.heading for column in READINGS_SHEET.columns)
        msg = f"There is no column “{text}”; there are: {known}."
        if normalise_heading(text) in {
            normalise_heading(each.text) for each in found.values()
        }:
            msg = f"The column “{text}” is there more than once."
        self.refused.append(DocumentIssue(sheet.cell_location(row.number, at), msg))

    def _width(self, table: HeadedSheet) -> int:
        return 1 + max(heading.index for heading in table.headings.values())

    def _refuse_width(self, table: HeadedSheet, row: Row) -> None:
        msg = (
            f"There are {_filled_width(row)} cells, and {self._width(table)} columns: put "
            "quotes around a cell that has the separator in it, and double a quote "
            "inside."
        )
        place = table.sheet.row_location(row.number)
        self.faults[place] = msg
        self.places[f"/readings/{len(self.entries)}"] = place
        self.entries.append({})

    def _blank(self, table: HeadedSheet, row: Row, member: str) -> bool:
        heading = table.headings.get(member)
        return heading is None or row.cell(heading.index).is_blank

    # ---- one row ------------------------------------------------------------

    def _entry(self, table: HeadedSheet, row: Row, shared: Mapping[str, Any]) -> None:
        """Read a row into an entry, and another where it was read again."""
        cells = {
            heading.column.member: (heading, cell)
            for heading, cell in table.iterate_cells(row)
            if heading.column.member not in DISPLAY_ONLY_COLUMNS
        }
        entry: dict[str, Any] = {}
        check = self._check(table, row, cells)
        if check != "":
            entry["check"] = check
        kind = (check or "").partition(":")[0]
        entry |= _applicable_facts(kind, shared)
        for member, (heading, cell) in cells.items():
            if member in ("check", "kind", "position", "rod") or cell.is_blank:
                continue
            if member in ("value", "again") and kind == CheckKind.STRENGTH:
                heading = ColumnHeading(
                    _STRENGTH_COLUMN, heading.index, heading.text, heading.unit
                )
            entry[member] = self._value(cell, heading, table.location(row, member))
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
        table: HeadedSheet,
        row: Row,
        cells: Mapping[str, tuple[ColumnHeading, Cell]],
    ) -> str | None:
        """Read which check a row is of: its key, or kind, position and rod.

        None where a cell cannot be used, empty where none is filled in.
        """
        words = {}
        for member in ("check", "kind", "position", "rod"):
            heading, cell = cells.get(member, (None, None))
            if heading is None or cell is None or cell.is_blank:
                continue
            value = self._value(cell, heading, table.location(row, member))
            if value is None:
                return None
            words[member] = str(value)
        if "check" in words or "kind" not in words:
            return words.get("check", "")
        kind = normalise_heading(words["kind"]).replace(" ", "_")
        key = f"{kind}:{words.get('position', '')}"
        return f"{key}.{words['rod']}" if "rod" in words else key

    def _put(
        self, table: HeadedSheet, row: Row, entry: dict[str, Any], value: str
    ) -> None:
        pointer = f"/readings/{len(self.entries)}"
        self.places[pointer] = table.sheet.row_location(row.number)
        kind = str(entry.get("check", "")).partition(":")[0]
        tool = "level" if kind in _LEVEL_KINDS else "tape"
        for member, place in self.shared_at.items():
            at = "instrument" if member == tool else member
            self.places[f"{pointer}/{at}"] = place
        for member in table.headings:
            own = f"{pointer}/{member}"
            if own not in self.places or not self._blank(table, row, member):
                self.places[own] = table.location(row, member)
        self.places[f"{pointer}/value"] = table.location(row, value)
        if "check" not in table.headings or self._blank(table, row, "check"):
            key = "position" if "position" in table.headings else "kind"
            self.places[f"{pointer}/check"] = table.location(row, key)
        self.entries.append(entry)

    def _value(
        self, cell: Cell, heading: ColumnHeading, place: str
    ) -> str | int | float | bool | None:
        try:
            return read_cell(cell, heading, self.units)
        except CellError as error:
            self.faults[place] = str(error)
            return None

    # ---- what stands above --------------------------------------------------

    def _shared(self, table: HeadedSheet) -> dict[str, Any]:
        """Read what stands above the headings: who, when, and with what."""
        known = {
            normalise_heading(name): column
            for column in SHARED_READING_FACTS
            for name in (column.heading, *column.aliases)
        }
        shared: dict[str, Any] = {}
        self.shared_at = {}
        for row in table.rows_above:
            filled = [i for i, cell in enumerate(row.cells) if not cell.is_blank]
            column = (
                known.get(normalise_heading(row.cells[filled[0]].text))
                if filled
                else None
            )
            if column is None or len(filled) < 2:
                continue
            place = table.sheet.cell_location(row.number, filled[1], column.heading)
            cell = self._with_time(row.cells[filled[1]], column, place)
            shared[column.member] = self._value(
                cell, ColumnHeading(column, filled[1], ""), place
            )
            self.shared_at[column.member] = place
        return shared

    def _with_time(self, cell: Cell, column: SheetColumn, place: str) -> Cell:
        """Give a day alone its noon, and say so."""
        if column.cell_type is not CellType.MOMENT:
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
        self.left.append(DocumentIssue(place, msg))
        return Cell(datetime.combine(day, NOON))


def _filled_width(row: Row) -> int:
    """Count the cells of a row up to the last with something in it."""
    return max(i for i, cell in enumerate(row.cells, start=1) if not cell.is_blank)


def _applicable_facts(kind: str, shared: Mapping[str, Any]) -> dict[str, Any]:
    """Give a reading of a kind what is shared by all it can be shared with."""
    entry = {name: shared[name] for name in ("by", "at") if name in shared}
    if kind in _LEVEL_KINDS:
        tool, further = "level", ("setup",)
    elif kind in _KINDS_WITHOUT_TAPE:
        return entry
    else:
        tool, further = "tape", ("temperature",)
    if tool in shared:
        entry["instrument"] = shared[tool]
    return entry | {name: shared[name] for name in further if name in shared}
