"""Import of readings from sheets, with the location of every value.

A sheet is a list with a column for every member of a reading, or a printed check sheet
that was filled in by hand and typed. Facts that all its readings share are above the
headings, and a row without a value is skipped.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, tzinfo
from typing import Any

from core.units import LengthUnit
from jobs.anchor_plan.check_keys import (
    LEVEL_KINDS,
    TAPE_KINDS,
    CheckKind,
    join_key,
    kind_of,
)
from jobs.exchange.imported_file import locate_issue
from jobs.exchange.issues import (
    DocumentError,
    DocumentIssue,
    IssueCode,
    file_error,
    file_issue,
)
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
"""Time of a reading with a date alone. Project choice."""

MAX_LISTED_ROWS = 20

_CHECK_COLUMNS = ("check", "kind", "position", "rod")
_STRENGTH_COLUMN = SheetColumn("value", "Value", CellType.QUANTITY)
_NEEDED_COLUMNS_MESSAGE = (
    "One row has the headings: “check”, or “kind” and “position”, and “value” are "
    "needed."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportedReadings:
    """The readings of a file.

    Attributes
    ----------
    entries : readings as the building document has them. None stands for a cell that
        cannot be used, so that the reading is refused with the others.
    source_locations : location in the file of a value, by JSON Pointer.
    cell_errors : why a cell cannot be used, by its location.
    ignored : what was left out.
    """

    entries: Sequence[object]
    source_locations: Mapping[str, str] = field(default_factory=dict)
    cell_errors: Mapping[str, str] = field(default_factory=dict)
    ignored: tuple[DocumentIssue, ...] = ()

    def locate_issues(self, issues: Iterable[DocumentIssue]) -> list[DocumentIssue]:
        """Return issues with their locations in the file, each once."""
        located: dict[tuple[str, str], DocumentIssue] = {}
        for issue in issues:
            found = locate_issue(issue, self.source_locations)
            message = self.cell_errors.get(found.location, found.message)
            found = replace(found, message=message)
            located.setdefault((found.location, message), found)
        return list(located.values())


def import_reading_sheets(
    sheets: Iterable[Sheet], *, unit: LengthUnit, zone: tzinfo = UTC
) -> ImportedReadings:
    """Import the readings of a file.

    Parameters
    ----------
    sheets : of a workbook or a CSV file; other kinds of sheet are skipped.
    unit : of a bare number whose heading names no unit: the plan's.
    zone : of a time that states none.

    Raises
    ------
    DocumentError
        If no row has the headings, or a heading is unknown.
    """
    chosen = _choose_sheets(list(sheets))
    if not chosen:
        raise file_error(f"This file is empty. {_NEEDED_COLUMNS_MESSAGE}")
    reader = _ReadingsReader(CellUnits(length=unit, zone=zone, keep_decimals=True))
    for sheet in chosen:
        reader.read(sheet)
    if reader.issues:
        raise DocumentError(reader.issues)
    return ImportedReadings(
        entries=reader.entries,
        source_locations=reader.locations,
        cell_errors=reader.cell_errors,
        ignored=tuple(reader.ignored),
    )


def _choose_sheets(sheets: Sequence[Sheet]) -> Sequence[Sheet]:
    """Choose the sheets of readings: by name, else by headings, else the first."""
    filled = [each for each in sheets if each.rows]
    named = [each for each in filled if READINGS_SHEET.matches_name(each.name)]
    likely = named or [each for each in filled if _count_reading_columns(each) >= 2]
    return likely or filled[:1]


def _count_reading_columns(sheet: Sheet) -> int:
    """Count the columns of readings, where a sheet has what is needed."""
    found = _find_headings(sheet)[1]
    return len(found) if "value" in found and found.keys() & {"check", "kind"} else 0


def _find_headings(sheet: Sheet) -> tuple[int, dict[str, ColumnHeading], list[int]]:
    """Find the row with the most headings: its index, they, and unknown cells."""
    best: tuple[int, dict[str, ColumnHeading], list[int]] = (0, {}, [])
    for index, row in enumerate(sheet.rows[:MAX_HEADING_ROW]):
        found, unknown = find_columns(row, READINGS_SHEET.columns)
        if len(found) > len(best[1]):
            best = (index, found, unknown)
    return best


@dataclass
class _ReadingsReader:
    """Collects entries, sheet by sheet and row by row."""

    units: CellUnits
    entries: list[dict[str, Any]] = field(default_factory=list)
    locations: dict[str, str] = field(default_factory=dict)
    issues: list[DocumentIssue] = field(default_factory=list)
    cell_errors: dict[str, str] = field(default_factory=dict)
    ignored: list[DocumentIssue] = field(default_factory=list)
    fact_locations: dict[str, str] = field(default_factory=dict)

    def read(self, sheet: Sheet) -> None:
        table = self._read_headings(sheet)
        if table is None:
            return
        facts = self._read_shared_facts(table)
        empty: list[int] = []
        for row in table.rows:
            if sheet.is_csv and _filled_width(row) > _table_width(table):
                self._add_width_error(table, row)
            elif all(_is_blank(table, row, name) for name in ("value", "again")):
                empty.append(row.number)
            else:
                self._read_entry(table, row, facts)
        if empty:
            rows = ", ".join(map(str, empty[:MAX_LISTED_ROWS]))
            rows += ", …" if len(empty) > MAX_LISTED_ROWS else ""
            noun = "line" if sheet.is_csv else "row"
            plural = "s" if len(empty) > 1 else ""
            message = f"No value in {noun}{plural} {rows}."
            self._add_ignored(sheet.name or "the file", message)

    def _add_ignored(self, location: str, message: str) -> None:
        self.ignored.append(file_issue(location, message, IssueCode.IGNORED))

    # ---- headings -------------------------------------------------------------------

    def _read_headings(self, sheet: Sheet) -> HeadedSheet | None:
        index, found, unknown = _find_headings(sheet)
        if not found:
            self.issues.append(file_issue(sheet.location, _NEEDED_COLUMNS_MESSAGE))
            return None
        row = sheet.rows[index]
        for at in unknown:
            self._add_heading_issue(sheet, row, at, found)
        missing = [] if found.keys() & {"check", "kind"} else ["check"]
        missing += [] if found.keys() & {"value", "again"} else ["value"]
        for name in missing:
            message = f"The column “{name}” is missing. {_NEEDED_COLUMNS_MESSAGE}"
            location = sheet.row_location(row.number)
            self.issues.append(file_issue(location, message, IssueCode.MISSING_FIELD))
        if missing or unknown:
            return None
        below, above = sheet.rows[index + 1 :], sheet.rows[:index]
        return HeadedSheet(sheet, found, below, (), above)

    def _add_heading_issue(
        self, sheet: Sheet, row: Row, at: int, found: Mapping[str, ColumnHeading]
    ) -> None:
        text = str(row.cells[at].value).strip()
        allowed = ", ".join(column.heading for column in READINGS_SHEET.columns)
        message = f"Unknown column “{text}”; the columns here are {allowed}."
        code = IssueCode.UNKNOWN_FIELD
        taken = {normalise_heading(each.text) for each in found.values()}
        if normalise_heading(text) in taken:
            message = f"The column “{text}” appears more than once."
            code = IssueCode.DUPLICATE
        location = sheet.cell_location(row.number, at)
        self.issues.append(file_issue(location, message, code))

    def _add_width_error(self, table: HeadedSheet, row: Row) -> None:
        location = table.sheet.row_location(row.number)
        self.cell_errors[location] = (
            f"This line has {_filled_width(row)} cells for {_table_width(table)} "
            "columns. Put quotes around a cell that contains the separator, and double "
            "a quote inside it."
        )
        self.locations[f"/readings/{len(self.entries)}"] = location
        self.entries.append({})

    # ---- one row --------------------------------------------------------------------

    def _read_entry(
        self, table: HeadedSheet, row: Row, facts: Mapping[str, Any]
    ) -> None:
        """Read a row as a reading, and as a second one if it has a repeat."""
        cells = {
            heading.column.member: (heading, cell)
            for heading, cell in table.iterate_cells(row)
            if heading.column.member not in DISPLAY_ONLY_COLUMNS
        }
        entry: dict[str, Any] = {}
        check = self._read_check(table, row, cells)
        if check != "":
            entry["check"] = check
        kind = kind_of(check or "")
        entry |= _applicable_facts(kind, facts)
        for member, (heading, cell) in cells.items():
            if member in _CHECK_COLUMNS or cell.is_blank:
                continue
            if member in ("value", "again") and kind is CheckKind.STRENGTH:
                heading = replace(heading, column=_STRENGTH_COLUMN)
            entry[member] = self._read_value(cell, heading, table.location(row, member))
        has_repeat, repeat = "again" in entry, entry.pop("again", None)
        if "value" in entry or not has_repeat:
            self._add_entry(table, row, entry, "value")
        if has_repeat:
            # A repeat is a reading of its own: only the first can correct another one.
            second = {k: value for k, value in entry.items() if k != "supersedes"}
            if "id" in second:
                second["id"] = f"{second['id']}-again"
            self._add_entry(table, row, {**second, "value": repeat}, "again")

    def _read_check(
        self,
        table: HeadedSheet,
        row: Row,
        cells: Mapping[str, tuple[ColumnHeading, Cell]],
    ) -> str | None:
        """Read the check key of a row, or compose it of kind, position and rod.

        None if a cell cannot be used, empty if none is filled in.
        """
        words = {}
        for member in _CHECK_COLUMNS:
            heading, cell = cells.get(member, (None, None))
            if heading is None or cell is None or cell.is_blank:
                continue
            value = self._read_value(cell, heading, table.location(row, member))
            if value is None:
                return None
            words[member] = str(value)
        if "check" in words or "kind" not in words:
            return words.get("check", "")
        kind = normalise_heading(words["kind"]).replace(" ", "_")
        return join_key(kind, words.get("position", ""), words.get("rod", ""))

    def _add_entry(
        self, table: HeadedSheet, row: Row, entry: dict[str, Any], value_column: str
    ) -> None:
        pointer = f"/readings/{len(self.entries)}"
        self.locations[pointer] = table.sheet.row_location(row.number)
        kind = kind_of(str(entry.get("check", "")))
        tool = "level" if kind in LEVEL_KINDS else "tape"
        for member, location in self.fact_locations.items():
            name = "instrument" if member == tool else member
            self.locations[f"{pointer}/{name}"] = location
        for member in table.headings:
            own = f"{pointer}/{member}"
            if own not in self.locations or not _is_blank(table, row, member):
                self.locations[own] = table.location(row, member)
        self.locations[f"{pointer}/value"] = table.location(row, value_column)
        if _is_blank(table, row, "check"):
            column = "position" if "position" in table.headings else "kind"
            self.locations[f"{pointer}/check"] = table.location(row, column)
        self.entries.append(entry)

    def _read_value(
        self, cell: Cell, heading: ColumnHeading, location: str
    ) -> str | int | float | bool | None:
        try:
            return read_cell(cell, heading, self.units)
        except CellError as error:
            self.cell_errors[location] = str(error)
            return None

    # ---- facts above the headings ---------------------------------------------------

    def _read_shared_facts(self, table: HeadedSheet) -> dict[str, Any]:
        """Read the facts above the headings: who, when, and with what."""
        columns = {
            normalise_heading(name): column
            for column in SHARED_READING_FACTS
            for name in (column.heading, *column.aliases)
        }
        facts: dict[str, Any] = {}
        self.fact_locations = {}
        for row in table.rows_above:
            filled = [i for i, cell in enumerate(row.cells) if not cell.is_blank]
            if len(filled) < 2:
                continue
            label, at = row.cells[filled[0]].text, filled[1]
            column = columns.get(normalise_heading(label))
            if column is None:
                continue
            location = table.sheet.cell_location(row.number, at, column.heading)
            cell = self._with_time(row.cells[at], column, location)
            heading = ColumnHeading(column, at, "")
            facts[column.member] = self._read_value(cell, heading, location)
            self.fact_locations[column.member] = location
        return facts

    def _with_time(self, cell: Cell, column: SheetColumn, location: str) -> Cell:
        """Set the time of a date alone to noon, and report it."""
        if column.cell_type is not CellType.MOMENT:
            return cell
        day = cell.value
        if isinstance(day, str):
            try:
                day = date.fromisoformat(day.strip())
            except ValueError:
                return cell
        # Spreadsheets store a date as midnight of that day.
        midnight = isinstance(day, datetime) and day.time() == time()
        if not isinstance(day, date) or (isinstance(day, datetime) and not midnight):
            return cell
        self._add_ignored(location, "Only the day is given: noon is used as the time.")
        return Cell(datetime.combine(day, NOON))


def _filled_width(row: Row) -> int:
    """Count the cells of a row up to the last filled one."""
    return max(i for i, cell in enumerate(row.cells, start=1) if not cell.is_blank)


def _table_width(table: HeadedSheet) -> int:
    return 1 + max(heading.index for heading in table.headings.values())


def _is_blank(table: HeadedSheet, row: Row, member: str) -> bool:
    heading = table.headings.get(member)
    return heading is None or row.cell(heading.index).is_blank


def _applicable_facts(
    kind: CheckKind | None, facts: Mapping[str, Any]
) -> dict[str, Any]:
    """Return the shared facts that a reading of a kind can have."""
    names = ["by", "at"]
    tool = ""
    if kind in LEVEL_KINDS:
        tool, names = "level", [*names, "setup"]
    elif kind is None or kind in TAPE_KINDS:
        tool, names = "tape", [*names, "temperature"]
    entry = {name: facts[name] for name in names if name in facts}
    return entry | ({"instrument": facts[tool]} if tool in facts else {})
