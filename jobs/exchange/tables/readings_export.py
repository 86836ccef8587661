"""Export of readings as a sheet, and a blank sheet to fill in."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from jobs.exchange.tables.columns import column_headings
from jobs.exchange.tables.plan_export import to_cell_content
from jobs.exchange.tables.sheet_layout import READINGS_SHEET, SHARED_READING_FACTS
from jobs.exchange.tables.sheets import Table

FIXED_COLUMNS = ("check", "value", "by", "at", "id")


def build_readings_table(entries: Sequence[Mapping[str, Any]]) -> Table:
    """Build a table of readings with the columns that any of them needs.

    Parameters
    ----------
    entries : as the building document has them, with further columns for display.
    """
    columns = [
        column
        for column in READINGS_SHEET.columns
        if column.member in FIXED_COLUMNS
        or any(column.member in each for each in entries)
    ]
    rows = [[to_cell_content(each.get(c.member)) for c in columns] for each in entries]
    return Table(READINGS_SHEET.name, column_headings(columns), rows)


def build_blank_sheet(checks: Iterable[tuple[str, str]]) -> Table:
    """Build a sheet with a row for every check, to be filled in.

    Parameters
    ----------
    checks : description and key of every check, in the order they are measured.

    Returns
    -------
    Table
        With fields above the headings for what all readings share.
    """
    columns = [
        column
        for column in READINGS_SHEET.columns
        if column.member in ("what", "check", "value", "again", "from", "note")
    ]
    rows = [(description, key) for description, key in checks]
    facts = column_headings(SHARED_READING_FACTS)
    return Table(READINGS_SHEET.name, column_headings(columns), rows, facts_above=facts)
