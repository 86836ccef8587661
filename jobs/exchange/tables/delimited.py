"""CSV in and out.

A file may hold several sheets under one another: a line with nothing but a sheet's
name begins it. A cell that a spreadsheet would take for a formula is written with an
apostrophe before it, which is taken off again when the file comes back.
"""

import csv
import io
from collections.abc import Callable, Iterable, Sequence

from jobs.exchange.tables.sheets import (
    MOST_CELLS,
    MOST_COLUMNS,
    MOST_ROWS,
    Cell,
    Row,
    Sheet,
    Table,
    refused,
)

DELIMITERS = ",;\t"
GUARDED = tuple("=+-@\t\r'")
"""First characters that a spreadsheet does not take as they stand."""


def read_rows(content: bytes) -> list[Row]:
    """Read the rows of a CSV file that are not blank.

    Raises
    ------
    DocumentError
        If it is not UTF-8, not a table, or too large.
    """
    text = decoded(content)
    head = next((line for line in text.splitlines() if _delimiters(line)), "")
    delimiter = max(DELIMITERS, key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[Row] = []
    cells = 0
    try:
        for record in reader:
            if not any(cell.strip() for cell in record):
                continue
            cells += len(record)
            _bounded(len(rows), len(record), cells, reader.line_num)
            read = tuple(Cell(unguarded(cell)) for cell in record)
            rows.append(Row(reader.line_num, read))
    except csv.Error as error:
        msg = f"This table cannot be read at line {reader.line_num}: {error}."
        raise refused("", msg) from None
    return rows


def decoded(content: bytes) -> str:
    """Read text in UTF-8, with or without a mark at its start."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        msg = f"This is not UTF-8 text, at byte {error.start}: save it as CSV UTF-8."
        raise refused("", msg) from None


def _delimiters(line: str) -> int:
    return sum(map(line.count, DELIMITERS))


def _bounded(rows: int, columns: int, cells: int, line: int) -> None:
    if rows >= MOST_ROWS:
        msg = f"There are more than {MOST_ROWS} lines; send them in parts."
        raise refused(f"line {line}", msg)
    if columns > MOST_COLUMNS:
        msg = f"There are {columns} columns; {MOST_COLUMNS} are the most."
        raise refused(f"line {line}", msg)
    if cells > MOST_CELLS:
        msg = f"There are more than {MOST_CELLS} cells; send them in parts."
        raise refused(f"line {line}", msg)


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
        alone = all(cell.blank for cell in row.cells[1:])
        if alone and named(row.cells[0].text):
            if index > since or name:
                sheets.append(Sheet(name, tuple(rows[since:index]), lined=True))
            name, since = row.cells[0].text, index + 1
    sheets.append(Sheet(name, tuple(rows[since:]), lined=True))
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
        writer.writerows([word] for word in table.above)
        writer.writerow(table.headings)
        for row in table.rows:
            writer.writerow([guarded(value) for value in row])
    return out.getvalue()


def guarded(value: str | int | float | None) -> str | int | float:
    """Write a value so that no spreadsheet takes it for a formula."""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(GUARDED) else value
    return "" if value is None else value


def unguarded(text: str) -> str:
    """Take the apostrophe of `guarded` off again."""
    if text.startswith("'") and text[1:].startswith(GUARDED):
        return text[1:]
    return text
