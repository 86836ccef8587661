"""Readings as a sheet, which reads back as the same readings; and a sheet to fill."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from jobs.exchange.tables.columns import headings
from jobs.exchange.tables.layout import READINGS, SHARED_FACTS
from jobs.exchange.tables.plan_out import written
from jobs.exchange.tables.sheets import Table

ALWAYS = ("check", "value", "by", "at", "id")


def readings_table(entries: Sequence[Mapping[str, Any]]) -> Table:
    """Write readings under those headings that one of them has something for.

    Parameters
    ----------
    entries : as the exchange document has them, and what else is for people to read.
    """
    columns = [
        column
        for column in READINGS.columns
        if column.member in ALWAYS or any(column.member in each for each in entries)
    ]
    rows = [[written(each.get(c.member)) for c in columns] for each in entries]
    return Table(READINGS.name, headings(columns), rows)


def sheet_to_fill(checks: Iterable[tuple[str, str]]) -> Table:
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
        for column in READINGS.columns
        if column.member in ("what", "check", "value", "again", "from", "note")
    ]
    rows = [(words, key) for words, key in checks]
    facts = headings(SHARED_FACTS)
    return Table(READINGS.name, headings(columns), rows, above=facts)
