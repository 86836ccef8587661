"""Plans as table files: a workbook, or one CSV file with the same sheets."""

from collections.abc import Mapping
from typing import Any

from jobs.exchange.imported_file import ImportedFile
from jobs.exchange.tables.csv_io import read_rows, split_sheets, write_csv
from jobs.exchange.tables.plan_export import build_plan_tables
from jobs.exchange.tables.plan_import import import_plan_sheets
from jobs.exchange.tables.sheet_layout import find_sheet_kind
from jobs.exchange.tables.sheets import Sheet, Table
from jobs.exchange.tables.xlsx_io import read_xlsx, write_xlsx

WORKBOOK_SUFFIXES = (".xlsx", ".xlsm")
CSV_SUFFIXES = (".csv", ".tsv", ".txt")
TABLE_SUFFIXES = (*WORKBOOK_SUFFIXES, *CSV_SUFFIXES)


def read_sheets(content: bytes, suffix: str) -> list[Sheet]:
    """Read the sheets of a file, by its suffix.

    Raises
    ------
    DocumentError
        If it cannot be read.
    """
    if suffix in WORKBOOK_SUFFIXES:
        return read_xlsx(content)
    return split_sheets(
        read_rows(content), lambda name: find_sheet_kind(name) is not None
    )


def read_plan_table(
    content: bytes, suffix: str, base: Mapping[str, Any] | None = None
) -> ImportedFile:
    """Import a plan from a table file.

    Parameters
    ----------
    content : the file.
    suffix : of its name, in lower case.
    base : document of the current plan, which keeps what the file has no sheet for.

    Raises
    ------
    DocumentError
        If nothing in it can be read.
    """
    return import_plan_sheets(read_sheets(content, suffix), base)


def write_plan_table(document: Mapping[str, Any], suffix: str) -> bytes:
    """Write the plan of a document as a table file."""
    return write_tables(build_plan_tables(document), suffix)


def write_tables(tables: list[Table], suffix: str, *, titled: bool = True) -> bytes:
    """Write tables as a workbook, or as CSV in UTF-8 with a byte order mark."""
    if suffix in WORKBOOK_SUFFIXES:
        return write_xlsx(tables)
    return write_csv(tables, titled=titled).encode("utf-8-sig")
