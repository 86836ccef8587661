"""Files of readings to entries of the exchange document, with their places in it.

An exchange document, a list of readings, or a table: a workbook or CSV.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, tzinfo
from typing import get_args

from checks.adapters import in_unit
from core.units import LengthUnit
from jobs.exchange.json_text import load_json
from jobs.exchange.parse import DocumentError, Refusal
from jobs.exchange.reader import Refusals
from jobs.exchange.tables.files import TABLES, read_sheets
from jobs.exchange.tables.readings_in import readings_of_sheets


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload:
    """What a file holds.

    Attributes
    ----------
    entries : readings, as `record_readings` takes them.
    tell : tells what was refused by its place in the file.
    left : what was passed over, by its place in the file.
    """

    entries: Sequence[object]
    tell: Callable[[Iterable[Refusal]], list[Refusal]]
    left: tuple[Refusal, ...] = ()


def read_upload(
    content: bytes, *, suffix: str, unit: LengthUnit, zone: tzinfo = UTC
) -> Upload:
    """Read a file of readings.

    Parameters
    ----------
    content : the file.
    suffix : what its name ends with; one that is no table's is taken for JSON.
    unit : of a number alone on the plan in force, and so in a table.
    zone : of a time in a table that states none.

    Raises
    ------
    DocumentError
        If nothing in it can be read; single readings are refused later, by the door.
    """
    if suffix not in TABLES:
        return _json(content, unit)
    found = readings_of_sheets(read_sheets(content, suffix), unit=unit, zone=zone)
    return Upload(entries=found.entries, tell=found.told, left=found.left)


def _json(content: bytes, plan_unit: str) -> Upload:
    refusals = Refusals()
    document = load_json(content, refusals)
    refusals.settle()
    if isinstance(document, list):
        return Upload(entries=document, tell=_of_list)
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
        readings = [
            in_unit(entry, unit) if isinstance(entry, dict) else entry
            for entry in readings
        ]
    return Upload(entries=readings, tell=list)


def _of_list(refused: Iterable[Refusal]) -> list[Refusal]:
    return [Refusal(r.pointer.removeprefix("/readings"), r.message) for r in refused]
