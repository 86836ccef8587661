"""Plans as files of tables: a workbook, or one CSV with the same sheets in it."""

from collections.abc import Mapping
from typing import Any

from jobs.exchange.from_file import FromFile
from jobs.exchange.tables.delimited import read_rows, split_sheets, write_csv
from jobs.exchange.tables.layout import kind_named
from jobs.exchange.tables.plan_in import plan_of_sheets
from jobs.exchange.tables.plan_out import plan_tables
from jobs.exchange.tables.sheets import Sheet, Table
from jobs.exchange.tables.xlsx import read_xlsx, write_xlsx

WORKBOOKS = (".xlsx", ".xlsm")
DELIMITED = (".csv", ".tsv", ".txt")
TABLES = (*WORKBOOKS, *DELIMITED)


def read_sheets(content: bytes, suffix: str) -> list[Sheet]:
    """Read a file's sheets, by what its name ends with.

    Raises
    ------
    DocumentError
        If it cannot be read.
    """
    if suffix in WORKBOOKS:
        return read_xlsx(content)
    return split_sheets(read_rows(content), lambda name: kind_named(name) is not None)


def read_plan(
    content: bytes, suffix: str, base: Mapping[str, Any] | None = None
) -> FromFile:
    """Read a plan from a file of tables.

    Parameters
    ----------
    content : the file.
    suffix : what its name ends with, in small letters.
    base : the document of the plan in force: what the file has no sheet for stays
        as it is there.

    Raises
    ------
    DocumentError
        If nothing in it can be read.
    """
    return plan_of_sheets(read_sheets(content, suffix), base)


def write_plan(document: Mapping[str, Any], suffix: str) -> bytes:
    """Write the plan of a document as a file of tables that reads back the same."""
    return write_tables(plan_tables(document), suffix)


def write_tables(tables: list[Table], suffix: str, *, titled: bool = True) -> bytes:
    """Write tables as a workbook, or as CSV in UTF-8 with its mark."""
    if suffix in WORKBOOKS:
        return write_xlsx(tables)
    return write_csv(tables, titled=titled).encode("utf-8-sig")
