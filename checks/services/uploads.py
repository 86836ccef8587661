"""Files of readings to entries of the exchange document, with their places in it.

An exchange document, a list of readings, or a table (CSV) with a column for every
member of a reading that it has.
"""

import csv
import io
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, get_args

from core.units import LengthUnit
from jobs.exchange.parse import DocumentError, Refusal
from jobs.exchange.reader import Refusals, load_json

LENGTHS = ("value", "slope_rise", "span", "sight", "height")
COLUMNS = (
    "id", "check", "value", "by", "at", "instrument", "temperature", "tension", "from",
    "setup", "height", "slope_rise", "span", "sight", "supersedes", "note",
)  # fmt: skip
NEEDED = ("check", "value")
DELIMITERS = ",;\t"
TABLES = (".csv", ".tsv", ".txt")
BARE = re.compile(r"[-+]?\d+(\.\d+)?")
POINTER = re.compile(r"/readings/(\d+)(?:/(.*))?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload:
    """What a file holds.

    Attributes
    ----------
    entries : readings, as `record_readings` takes them.
    place : says where in the file the reading of a pointer stands.
    """

    entries: Sequence[object]
    place: Callable[[str], str]


def read_upload(content: bytes, *, table: bool, unit: str) -> Upload:
    """Read a file of readings.

    Parameters
    ----------
    content : the file.
    table : whether it is CSV, not JSON.
    unit : of a number alone on the plan in force, and so in a table.

    Raises
    ------
    DocumentError
        If nothing in it can be read; single readings are refused later, by the door.
    """
    return _table(content, unit) if table else _json(content, unit)


def _json(content: bytes, plan_unit: str) -> Upload:
    refusals = Refusals()
    document = load_json(content, refusals)
    refusals.settle()
    if isinstance(document, list):
        return Upload(entries=document, place=lambda at: at.removeprefix("/readings"))
    readings = document.get("readings") if isinstance(document, dict) else None
    if not isinstance(document, dict) or not isinstance(readings, list):
        msg = (
            "This is no file of readings: give a padstone.building/1 document with its"
            " “readings”, or a JSON list of readings."
        )
        raise DocumentError([Refusal("", msg)])
    unit = str(document.get("length_unit"))
    if unit not in get_args(LengthUnit):
        known = ", ".join(get_args(LengthUnit))
        msg = f"The document's “length_unit” is one of {known}."
        raise DocumentError([Refusal("/length_unit", msg)])
    if unit != plan_unit:
        readings = [_in_unit(entry, unit) for entry in readings]
    return Upload(entries=readings, place=lambda at: at)


def _in_unit(entry: object, unit: str) -> object:
    """Write bare numbers with the document's unit, where the plan has another."""
    if not isinstance(entry, dict):
        return entry
    changed: dict[str, Any] = dict(entry)
    for member in LENGTHS:
        number = entry.get(member)
        if isinstance(number, int | float) and not isinstance(number, bool):
            changed[member] = f"{Decimal(str(number)):f} {unit}"
    return changed


def _table(content: bytes, unit: str) -> Upload:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        msg = f"This is not UTF-8 text, at byte {error.start}: save it as CSV UTF-8."
        raise DocumentError([Refusal("", msg)]) from None
    head = text.partition("\n")[0]
    delimiter = max(DELIMITERS, key=head.count)
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    lines: list[int] = []
    entries: list[object] = []
    try:
        names = _names(next(rows, []))
        for row in rows:
            if any(cell.strip() for cell in row):
                entries.append(_entry(names, row, unit, rows.line_num))
                lines.append(rows.line_num)
    except csv.Error as error:
        msg = f"This table cannot be read at line {rows.line_num}: {error}."
        raise DocumentError([Refusal("", msg)]) from None
    return Upload(entries=entries, place=lambda at: _line(at, lines))


def _names(head: Sequence[str]) -> list[str]:
    names = [name.strip().lower() for name in head]
    known = ", ".join(COLUMNS)
    refused = [
        Refusal("line 1", f"There is no column “{name}”; there are: {known}.")
        for name in names
        if name not in COLUMNS
    ]
    refused += [
        Refusal("line 1", f"The column “{name}” is needed; the first line names them.")
        for name in NEEDED
        if name not in names
    ]
    refused += [
        Refusal("line 1", f"The column “{name}” is there more than once.")
        for name in sorted({name for name in names if names.count(name) > 1})
    ]
    if refused:
        raise DocumentError(refused)
    return names


def _entry(
    names: Sequence[str], row: Sequence[str], unit: str, line: int
) -> Mapping[str, str]:
    if len(row) > len(names):
        msg = (
            f"There are {len(row)} cells, and {len(names)} columns: put quotes around"
            " a cell that has the separator in it, and double a quote inside."
        )
        raise DocumentError([Refusal(f"line {line}", msg)])
    entry = {
        name: cell.strip()
        for name, cell in zip(names, row, strict=False)
        if cell.strip()
    }
    strength = entry.get("check", "").startswith("strength:")
    for name in LENGTHS:
        text = entry.get(name, "")
        if BARE.fullmatch(text) and not (strength and name == "value"):
            entry[name] = f"{text} {unit}"
    return entry


def _line(pointer: str, lines: Sequence[int]) -> str:
    found = POINTER.fullmatch(pointer)
    if found is None:
        return pointer
    column = f", {found[2]}" if found[2] else ""
    return f"line {lines[int(found[1])]}{column}"
