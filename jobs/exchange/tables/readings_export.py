"""Readings as a sheet, which reads back as the same readings; and a sheet to fill."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from jobs.exchange.tables.columns import column_headings
from jobs.exchange.tables.plan_export import to_cell_content
from jobs.exchange.tables.sheet_layout import READINGS_SHEET, SHARED_READING_FACTS
from jobs.exchange.tables.sheets import Table

FIXED_COLUMNS = ("check", "value", "by", "at", "id")


def build_readings_table(entries: Sequence[Mapping[str, Any]]) -> Table:
    """Write readings under those headings that one of them has something for.

    Parameters
    ----------
    entries : as the exchange document has them, and what else is for people to read.
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
    """Write a sheet with a row for every check and nothing read yet.

    Parameters
    ----------
    checks : what is measured in words, and the check's key, in the order of the walk.

    Returns
    -------
    Table
        With room above the headings for what holds for all readings.
    """
    columns = [
        column
        for column in READINGS_SHEET.columns
        if column.member in ("what", "check", "value", "again", "from", "note")
    ]
    rows = [(words, key) for words, key in checks]
    facts = column_headings(SHARED_READING_FACTS)
    return Table(READINGS_SHEET.name, column_headings(columns), rows, facts_above=facts)
