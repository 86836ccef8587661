"""Reading and writing of CSV.

A file may hold several sheets under one another, each after a line with nothing but
its name. A cell that a spreadsheet would read as a formula is written with an
apostrophe in front, which is removed when the file is imported again.
"""

import csv
import io
from collections.abc import Callable, Iterable, Sequence

from jobs.exchange.issues import file_error
from jobs.exchange.tables.sheets import (
    MAX_CELLS,
    MAX_COLUMNS,
    MAX_ROWS,
    Cell,
    Row,
    Sheet,
    Table,
)
from jobs.exchange.text_decoding import decode_utf8

DELIMITERS = ",;\t"
FORMULA_PREFIXES = tuple("=+-@\t\r'")
"""First characters of a cell that a spreadsheet does not keep as text."""


def read_rows(content: bytes) -> list[Row]:
    """Read the rows of a CSV file that are not blank.

    Raises
    ------
    DocumentError
        If it is not UTF-8, not a table, or too large.
    """
    text = decode_utf8(content)
    head = next((line for line in text.splitlines() if _count_delimiters(line)), "")
    # Spreadsheets write semicolons in countries with a decimal comma.
    delimiter = max(DELIMITERS, key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[Row] = []
    cells = 0
    try:
        for record in reader:
            if not any(cell.strip() for cell in record):
                continue
            cells += len(record)
            _check_limits(len(rows), len(record), cells, reader.line_num)
            read = tuple(Cell(unescape_formula(cell)) for cell in record)
            # The number of the line, which differs from the row after a cell with line
            # breaks.
            rows.append(Row(reader.line_num, read))
    except csv.Error as error:
        msg = f"This table cannot be read at line {reader.line_num}: {error}."
        raise file_error(msg) from None
    return rows


def _count_delimiters(line: str) -> int:
    return sum(map(line.count, DELIMITERS))


def _check_limits(rows: int, columns: int, cells: int, line: int) -> None:
    if rows >= MAX_ROWS:
        msg = f"There are more than {MAX_ROWS} lines; send them in parts."
        raise file_error(msg, f"line {line}")
    if columns > MAX_COLUMNS:
        msg = f"There are {columns} columns; at most {MAX_COLUMNS} are allowed."
        raise file_error(msg, f"line {line}")
    if cells > MAX_CELLS:
        msg = f"There are more than {MAX_CELLS} cells; send them in parts."
        raise file_error(msg, f"line {line}")


def split_sheets(
    rows: Sequence[Row], is_sheet_name: Callable[[str], bool]
) -> list[Sheet]:
    """Split the rows of a file at lines with nothing but the name of a sheet.

    Parameters
    ----------
    rows : of the whole file.
    is_sheet_name : returns True for the name of a sheet.
    """
    sheets: list[Sheet] = []
    name, start = "", 0
    for index, row in enumerate(rows):
        alone = all(cell.is_blank for cell in row.cells[1:])
        if alone and is_sheet_name(row.cells[0].text):
            if index > start or name:
                sheets.append(Sheet(name, tuple(rows[start:index]), is_csv=True))
            name, start = row.cells[0].text, index + 1
    sheets.append(Sheet(name, tuple(rows[start:]), is_csv=True))
    return sheets


def write_csv(tables: Iterable[Table], *, titled: bool = True) -> str:
    """Write tables under one another.

    Parameters
    ----------
    tables : what is written.
    titled : False to leave out the line with its name, of a single table.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    for number, table in enumerate(tables):
        if number:
            writer.writerow([])
        if titled:
            writer.writerow([table.name])
        writer.writerows([label] for label in table.facts_above)
        writer.writerow(table.headings)
        for row in table.rows:
            writer.writerow([escape_formula(value) for value in row])
    return out.getvalue()


def escape_formula(value: str | int | float | None) -> str | int | float:
    """Return a value that no spreadsheet reads as a formula."""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(FORMULA_PREFIXES) else value
    return "" if value is None else value


def unescape_formula(text: str) -> str:
    """Remove the apostrophe that `escape_formula` adds."""
    if text.startswith("'") and text[1:].startswith(FORMULA_PREFIXES):
        return text[1:]
    return text
