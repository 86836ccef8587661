"""The one parser of building documents: as text, as loaded JSON, or one reading."""

from datetime import datetime

from jobs.anchor_plan.values import BuildingInput, Plan, ReadingValue
from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.input.json_text import load_json
from jobs.exchange.input.partial_plan import PartialPlan
from jobs.exchange.input.plan import parse_plan, peek_length_unit
from jobs.exchange.input.readings import parse_entry, parse_readings
from jobs.exchange.issues import IssueCollector


def parse_building_text(
    text: str | bytes, *, now: datetime | None = None
) -> BuildingInput:
    """Parse a building document from JSON text.

    Parameters
    ----------
    text : the document.
    now : the present time, by which times to come are refused; None for a document
        that is in the record already.

    Raises
    ------
    DocumentError
        With every issue, each with a JSON Pointer to its place.
    """
    collector = IssueCollector(now=now)
    return _parse_document(load_json(text, collector), collector)


def parse_building(document: object, *, now: datetime | None = None) -> BuildingInput:
    """Parse a building document that has been loaded as JSON.

    Parameters
    ----------
    document : as loaded.
    now : the present time, as for `parse_building_text`.

    Raises
    ------
    DocumentError
        With every issue, each with a JSON Pointer to its place.
    """
    return _parse_document(document, IssueCollector(now=now))


def _parse_document(document: object, collector: IssueCollector) -> BuildingInput:
    root = JsonReader(document, collector)
    # Needed before any length is read, wherever the member is in the document.
    collector.length_unit = peek_length_unit(root)
    partial, items = parse_plan(root)
    readings = parse_readings(items, partial)
    # Placeholders of refused values end here.
    collector.raise_if_any()
    return BuildingInput(plan=partial.plan, readings=readings)


def parse_reading(
    entry: object, plan: Plan, pointer: str = "", *, now: datetime | None = None
) -> ReadingValue:
    """Parse one entry of `readings` against a plan.

    What it supersedes is not checked: that needs the other readings, see
    `supersession.find_supersession_issues`.

    Parameters
    ----------
    entry : object
        The entry, loaded as JSON. Bare numbers are in the plan's length unit.
    plan : Plan
        With the instruments the reading may name. [mm]
    pointer : str
        JSON Pointer to the entry, for the issues; its last step numbers a reading
        without an id.
    now : datetime, optional
        The present time, by which times to come and breaks before the placing of the
        concrete are refused; None for a reading that is in the record already.

    Raises
    ------
    DocumentError
        With every issue.
    """
    collector = IssueCollector(length_unit=plan.length_unit, now=now)
    step = pointer.rpartition("/")[2]
    number = int(step) + 1 if step.isdecimal() and len(step) < 10 else 1
    reader = JsonReader(entry, collector, step=pointer)
    reading = parse_entry(reader, PartialPlan(plan), f"reading-{number}")
    collector.raise_if_any()
    return reading
