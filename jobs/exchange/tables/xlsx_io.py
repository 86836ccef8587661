"""Reading and writing of XLSX (ISO/IEC 29500).

Sizes are checked before anything is unpacked, so that a small file cannot grow into a
large one (a zip bomb). XML entities, which XLSX does not need, are refused.
"""

import io
import re
import warnings
import zipfile
from collections.abc import Iterable, Iterator
from datetime import date, time, timedelta
from typing import Any
from xml.etree import ElementTree

from jobs.exchange.issues import DocumentError, file_error
from jobs.exchange.tables.sheets import (
    BLANK_CELL,
    MAX_CELLS,
    MAX_COLUMNS,
    MAX_ROWS,
    MAX_SHEETS,
    Cell,
    Row,
    Sheet,
    Table,
)

MAX_ARCHIVE_ENTRIES = 300
MAX_SHEET_BYTES = 40_000_000  # bytes of the sheets and their texts
MAX_OTHER_BYTES = 4_000_000  # bytes of everything else: styles, themes, pictures
MAX_MERGED_CELLS = 20_000  # cells in merged ranges

_OLE_SIGNATURE = b"\xd0\xcf\x11\xe0"
_SHEET = re.compile(r"xl/worksheets/[^/]+\.xml|xl/sharedStrings\.xml")
_DECIMALS = re.compile(r"0\.(0+)(?![#0-9?])")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
_TO_ESCAPE = re.compile("\r|[\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
_MERGED = re.compile(r"([A-Z]{1,3})([0-9]{1,7}):([A-Z]{1,3})([0-9]{1,7})")
_CELL_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"

MergedCells = dict[tuple[int, int], tuple[int, int]]
"""Row and column of a merged cell, to those of the cell that has its value."""


def read_xlsx(content: bytes) -> list[Sheet]:
    """Read the sheets of a workbook.

    A formula has the value it had when the workbook was saved. Every cell of a merged
    range has the value of its first cell.

    Raises
    ------
    DocumentError
        If it is no workbook, damaged, protected or too large.
    """
    parts = _unpack(content)
    merged = _find_merged_cells(parts)
    # The formulas are loaded only where there are any: it doubles the reading time.
    formulas = any(b"<f" in part or b":f" in part for part in parts.values())
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about parts the library skips
            values = _load_sheets(content, data_only=True)
            typed = _load_sheets(content, data_only=False) if formulas else {}
            return [
                Sheet(name, _read_rows(sheet, typed.get(name), merged.get(name, {})))
                for name, sheet in values.items()
            ]
    except DocumentError:
        raise
    except Exception as error:  # a damaged file fails anywhere in the library
        msg = "This workbook is damaged and cannot be read: save it again as .xlsx."
        raise file_error(msg) from error


def _unpack(content: bytes) -> dict[str, bytes]:
    """Unpack the XML parts; refuse what is no workbook or too large."""
    if content.startswith(_OLE_SIGNATURE):
        msg = (
            "This workbook is protected by a password or is an old .xls file: save it "
            "without a password, as .xlsx."
        )
        raise file_error(msg)
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            entries = archive.infolist()
            _check_archive_size(entries)
            parts = {
                entry.filename: archive.read(entry)
                for entry in entries
                if entry.filename.endswith((".xml", ".rels"))
            }
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError, EOFError):
        raise file_error("This is no XLSX workbook, or it is damaged.") from None
    if "xl/workbook.xml" not in parts:
        raise file_error("This is no XLSX workbook: it has no sheets.")
    # In UTF-16 every other byte is null, which would hide a DOCTYPE from this search.
    for part in parts.values():
        if b"<!DOCTYPE" in part or b"<!ENTITY" in part or b"\x00" in part:
            msg = "This workbook has XML entities; save it again as .xlsx."
            raise file_error(msg)
    sheets = [name for name in parts if name.startswith("xl/worksheets/")]
    # Counting tags is fast and errs on the safe side; the library would parse them all.
    cells = sum(parts[name].count(b"<c") for name in sheets)
    cells += parts.get("xl/sharedStrings.xml", b"").count(b"<si")
    if len(sheets) > MAX_SHEETS or cells > 2 * MAX_CELLS:
        msg = (
            f"A workbook can have at most {MAX_SHEETS} sheets and {MAX_CELLS} cells; "
            "send it in parts."
        )
        raise file_error(msg)
    return parts


def _check_archive_size(entries: list[zipfile.ZipInfo]) -> None:
    sheets = sum(e.file_size for e in entries if _SHEET.fullmatch(e.filename))
    around = sum(e.file_size for e in entries) - sheets
    large = (
        len(entries) > MAX_ARCHIVE_ENTRIES
        or sheets > MAX_SHEET_BYTES
        or around > MAX_OTHER_BYTES
    )
    if large:
        msg = (
            "Unpacked, this workbook is larger than a plan or its readings can be: at "
            f"most {MAX_ARCHIVE_ENTRIES} parts, {MAX_SHEET_BYTES // 1_000_000} MB of "
            f"cells and {MAX_OTHER_BYTES // 1_000_000} MB of everything else. Remove "
            "pictures and other sheets."
        )
        raise file_error(msg)


def _find_merged_cells(parts: dict[str, bytes]) -> dict[str, MergedCells]:
    """Find the merged cells of every sheet, by its name."""
    try:
        paths = _find_sheet_paths(parts)
        return {
            name: _parse_merged_ranges(name, parts[path])
            for name, path in paths.items()
            if b"mergeCell" in parts.get(path, b"")
        }
    except ElementTree.ParseError as error:
        raise file_error(f"This workbook is damaged: {error}.") from None


def _find_sheet_paths(parts: dict[str, bytes]) -> dict[str, str]:
    """Find the XML part of each sheet, by its name."""
    relations = ElementTree.fromstring(  # noqa: S314 - size and entities are checked
        parts.get("xl/_rels/workbook.xml.rels", b"<none/>")
    )
    targets = {each.get("Id"): str(each.get("Target", "")) for each in relations}
    book = ElementTree.fromstring(parts["xl/workbook.xml"])  # noqa: S314 - as above
    paths = {}
    for sheet in book.iter(f"{_CELL_MAIN}sheet"):
        target = targets.get(sheet.get(_RELATION), "")
        path = target[1:] if target.startswith("/") else f"xl/{target}"
        paths[str(sheet.get("name"))] = path
    return paths


def _parse_merged_ranges(name: str, part: bytes) -> MergedCells:
    from openpyxl.utils import column_index_from_string

    merged: MergedCells = {}
    for _, each in ElementTree.iterparse(io.BytesIO(part)):  # noqa: S314 - as above
        found = _MERGED.fullmatch(str(each.get("ref")))
        if each.tag != f"{_CELL_MAIN}mergeCell":
            each.clear()
            continue
        if found is None:
            continue
        left, right = (column_index_from_string(found[i]) - 1 for i in (1, 3))
        top, bottom = int(found[2]), int(found[4])
        right, bottom = min(right, MAX_COLUMNS - 1), min(bottom, MAX_ROWS)
        if (right - left + 1) * (bottom - top + 1) + len(merged) > MAX_MERGED_CELLS:
            msg = f"More than {MAX_MERGED_CELLS} cells are merged; unmerge some."
            raise file_error(msg, name)
        for row in range(top, bottom + 1):
            for column in range(left, right + 1):
                merged[row, column] = (top, left)
    return merged


def _load_sheets(content: bytes, *, data_only: bool) -> dict[str, Any]:
    import openpyxl  # takes a fifth of a second: loaded only when needed

    book: Any = openpyxl.load_workbook(
        io.BytesIO(content), read_only=True, data_only=data_only, keep_links=False
    )
    return {sheet.title: sheet for sheet in book.worksheets}


def _read_rows(sheet: Any, typed: Any, merged: MergedCells) -> tuple[Row, ...]:
    """Read the rows of a sheet that are not blank."""
    rows: list[Row] = []
    total = 0
    formulas = set() if typed is None else _find_formulas(typed)
    firsts: dict[tuple[int, int], Cell] = {}
    for number, cells in enumerate(_iterate_rows(sheet), start=1):
        read = [
            _read_cell(cell, (number, column) in formulas)
            for column, cell in enumerate(cells)
        ]
        if merged:
            _fill_merged_cells(read, number, merged, firsts)
        while read and read[-1].is_blank:
            read.pop()
        if not read:
            continue
        total += len(read)
        if number > MAX_ROWS or len(read) > MAX_COLUMNS or total > MAX_CELLS:
            msg = (
                f"A sheet can have at most {MAX_ROWS} rows, {MAX_COLUMNS} columns and "
                f"{MAX_CELLS} cells; send the rest in another file."
            )
            raise file_error(msg, f"{sheet.title} row {number}")
        rows.append(Row(number, tuple(read)))
    return tuple(rows)


def _fill_merged_cells(
    read: list[Cell], row: int, merged: MergedCells, firsts: dict[tuple[int, int], Cell]
) -> None:
    """Fill merged cells with the value of their first cell."""
    read += [BLANK_CELL] * (MAX_COLUMNS - len(read))
    for column in range(MAX_COLUMNS):
        first = merged.get((row, column))
        if first == (row, column):
            firsts[first] = read[column]
        elif first is not None and first in firsts:
            read[column] = firsts[first]


def _iterate_rows(sheet: Any) -> Iterator[list[Any]]:
    """Generate the rows, also some beyond the limits, so that these are refused."""
    from openpyxl.cell.read_only import EMPTY_CELL

    sheet.reset_dimensions()  # those in the file may be wrong
    rows = sheet.iter_rows(max_row=5 * MAX_ROWS, max_col=4 * MAX_COLUMNS)
    for row in rows:
        cells = list(row)
        while cells and cells[-1] is EMPTY_CELL:
            cells.pop()
        yield cells


def _find_formulas(sheet: Any) -> set[tuple[int, int]]:
    return {
        (number, column)
        for number, cells in enumerate(_iterate_rows(sheet), start=1)
        for column, cell in enumerate(cells)
        if cell.data_type == "f"
    }


def _read_cell(cell: Any, computed: bool) -> Cell:
    value = cell.value
    if computed and value is None:
        fault = (
            "This formula has no value yet: open the workbook in a spreadsheet "
            "program, save it, and import it again."
        )
        return Cell(error=fault)
    if cell.data_type == "e":
        return Cell(error=f"This cell shows the error {value}.")
    if isinstance(value, str):
        return Cell(unescape_xml(value), is_computed=computed)
    if isinstance(value, bool | date | time | timedelta) or value is None:
        return Cell(value, is_computed=computed)
    found = _DECIMALS.search(cell.number_format or "")
    return Cell(value, len(found[1]) if found else 0, computed)


def escape_xml(text: str) -> str:
    """Write what XML cannot hold as `_xHHHH_` (ISO/IEC 29500-1, 22.4.2.4)."""
    return _TO_ESCAPE.sub(lambda found: f"_x{ord(found[0]):04X}_", text)


def unescape_xml(text: str) -> str:
    """Read text written by `escape_xml`."""
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), text)


def write_xlsx(tables: Iterable[Table]) -> bytes:
    """Write a workbook with a sheet for every table; text is kept as text."""
    import openpyxl

    book = openpyxl.Workbook()
    assert book.active is not None  # noqa: S101 - a new workbook has a sheet
    book.remove(book.active)
    for table in tables:
        _write_sheet(book.create_sheet(table.name), table)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _write_sheet(sheet: Any, table: Table) -> None:
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    bold = Font(bold=True)
    widths = [len(heading) for heading in table.headings]
    for number, label in enumerate(table.facts_above, start=1):
        _write_row(sheet, number, [label], widths)
    head = len(table.facts_above) + 1
    _write_row(sheet, head, table.headings, widths)
    for each in sheet[head]:
        each.font = bold
    for number, row in enumerate(table.rows, start=head + 1):
        _write_row(sheet, number, row, widths)
    sheet.freeze_panes = f"A{head + 1}"
    for column, width in enumerate(widths, start=1):
        dimension = sheet.column_dimensions[get_column_letter(column)]
        dimension.width = min(max(width + 2, 9), 60)
        # The text format keeps what is typed: 3/4 must not become a date.
        dimension.number_format = "@"


def _write_row(
    sheet: Any,
    number: int,
    values: Iterable[str | int | float | None],
    widths: list[int],
) -> None:
    for column, value in enumerate(values, start=1):
        if value is None or value == "":
            continue
        cell: Any = sheet.cell(row=number, column=column)
        cell.value = escape_xml(value) if isinstance(value, str) else value
        if isinstance(value, str):
            cell.data_type = "s"  # also where it looks like a formula
            cell.number_format = "@"
        widths[column - 1] = max(widths[column - 1], len(str(value)))
