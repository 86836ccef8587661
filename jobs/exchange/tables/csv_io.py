"""CSV in and out.

A file may hold several sheets under one another: a line with nothing but a sheet's
name begins it. A cell that a spreadsheet would take for a formula is written with an
apostrophe before it, which is taken off again when the file comes back.
"""

import csv
import io
from collections.abc import Callable, Iterable, Sequence

from jobs.exchange.tables.sheets import (
    MAX_CELLS,
    MAX_COLUMNS,
    MAX_ROWS,
    Cell,
    Row,
    Sheet,
    Table,
    build_file_error,
)

DELIMITERS = ",;\t"
FORMULA_PREFIXES = tuple("=+-@\t\r'")
"""First characters that a spreadsheet does not take as they stand."""


def read_rows(content: bytes) -> list[Row]:
    """Read the rows of a CSV file that are not blank.

    Raises
    ------
    DocumentError
        If it is not UTF-8, not a table, or too large.
    """
    text = decode_utf8(content)
    head = next((line for line in text.splitlines() if _count_delimiters(line)), "")
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
            rows.append(Row(reader.line_num, read))
    except csv.Error as error:
        msg = f"This table cannot be read at line {reader.line_num}: {error}."
        raise build_file_error("", msg) from None
    return rows


def decode_utf8(content: bytes) -> str:
    """Read text in UTF-8, with or without a mark at its start."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        msg = f"This is not UTF-8 text, at byte {error.start}: save it as CSV UTF-8."
        raise build_file_error("", msg) from None


def _count_delimiters(line: str) -> int:
    return sum(map(line.count, DELIMITERS))


def _check_limits(rows: int, columns: int, cells: int, line: int) -> None:
    if rows >= MAX_ROWS:
        msg = f"There are more than {MAX_ROWS} lines; send them in parts."
        raise build_file_error(f"line {line}", msg)
    if columns > MAX_COLUMNS:
        msg = f"There are {columns} columns; {MAX_COLUMNS} are the most."
        raise build_file_error(f"line {line}", msg)
    if cells > MAX_CELLS:
        msg = f"There are more than {MAX_CELLS} cells; send them in parts."
        raise build_file_error(f"line {line}", msg)


def split_sheets(rows: Sequence[Row], named: Callable[[str], bool]) -> list[Sheet]:
    """Split rows where a line has nothing but the name of a sheet.

    Parameters
    ----------
    rows : of the whole file.
    named : tells the name of a sheet.
    """
    sheets: list[Sheet] = []
    name, since = "", 0
    for index, row in enumerate(rows):
        alone = all(cell.is_blank for cell in row.cells[1:])
        if alone and named(row.cells[0].text):
            if index > since or name:
                sheets.append(Sheet(name, tuple(rows[since:index]), is_csv=True))
            name, since = row.cells[0].text, index + 1
    sheets.append(Sheet(name, tuple(rows[since:]), is_csv=True))
    return sheets


def write_csv(tables: Iterable[Table], *, titled: bool = True) -> str:
    """Write tables under one another.

    Parameters
    ----------
    tables : what is written.
    titled : whether each begins with a line that names it; one alone needs none.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    for number, table in enumerate(tables):
        if number:
            writer.writerow([])
        if titled:
            writer.writerow([table.name])
        writer.writerows([word] for word in table.facts_above)
        writer.writerow(table.headings)
        for row in table.rows:
            writer.writerow([escape_formula(value) for value in row])
    return out.getvalue()


def escape_formula(value: str | int | float | None) -> str | int | float:
    """Write a value so that no spreadsheet takes it for a formula."""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(FORMULA_PREFIXES) else value
    return "" if value is None else value


def unescape_formula(text: str) -> str:
    """Take the apostrophe of `guarded` off again."""
    if text.startswith("'") and text[1:].startswith(FORMULA_PREFIXES):
        return text[1:]
    return text
