"""Files of readings as entries of the exchange document, with their source locations.

A file is an exchange document, a JSON list of readings, a workbook or CSV.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, tzinfo
from typing import get_args

from checks.evaluation_input import with_explicit_unit
from core.units import LengthUnit
from jobs.exchange.input.json_text import load_json
from jobs.exchange.issues import DocumentError, DocumentIssue, IssueCollector
from jobs.exchange.tables.readings_import import import_reading_sheets
from jobs.exchange.tables.table_files import TABLE_SUFFIXES, read_sheets


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingFile:
    """The content of a file of readings.

    Attributes
    ----------
    entries : readings, as `record_readings` takes them.
    locate_refusals : gives issues their location in the file.
    ignored : what was left out, with its location in the file.
    """

    entries: Sequence[object]
    locate_refusals: Callable[[Iterable[DocumentIssue]], list[DocumentIssue]]
    ignored: tuple[DocumentIssue, ...] = ()


def parse_reading_file(
    content: bytes, *, suffix: str, unit: LengthUnit, zone: tzinfo = UTC
) -> ReadingFile:
    """Parse a file of readings.

    Parameters
    ----------
    content : the file.
    suffix : of the file name; any other than a table's means JSON.
    unit : of numbers without a unit, on the plan in force and in a table.
    zone : of times in a table that state none.

    Raises
    ------
    DocumentError
        If nothing in it can be read; `record_readings` refuses single readings.
    """
    if suffix not in TABLE_SUFFIXES:
        return _parse_json(content, unit)
    found = import_reading_sheets(read_sheets(content, suffix), unit=unit, zone=zone)
    return ReadingFile(
        entries=found.entries,
        locate_refusals=found.locate_issues,
        ignored=found.ignored,
    )


def _parse_json(content: bytes, plan_unit: str) -> ReadingFile:
    refusals = IssueCollector()
    document = load_json(content, refusals)
    refusals.raise_if_any()
    if isinstance(document, list):
        return ReadingFile(entries=document, locate_refusals=_locate_in_list)
    readings = document.get("readings") if isinstance(document, dict) else None
    if not isinstance(document, dict) or not isinstance(readings, list):
        msg = (
            "This file contains no readings. Send a padstone.building/1 document with"
            " “readings”, or a JSON list of readings."
        )
        raise DocumentError([DocumentIssue("", msg)])
    unit = str(document.get("length_unit"))
    if unit not in get_args(LengthUnit):
        known = ", ".join(get_args(LengthUnit))
        msg = f"The “length_unit” of the document must be one of {known}."
        raise DocumentError([DocumentIssue("/length_unit", msg)])
    if unit != plan_unit:
        readings = [
            with_explicit_unit(entry, unit) if isinstance(entry, dict) else entry
            for entry in readings
        ]
    return ReadingFile(entries=readings, locate_refusals=list)


def _locate_in_list(refused: Iterable[DocumentIssue]) -> list[DocumentIssue]:
    return [
        DocumentIssue(r.pointer.removeprefix("/readings"), r.message) for r in refused
    ]
