"""The one way in: an exchange document as text, as parsed JSON, or one reading."""

from jobs.anchor_plan.values import BuildingInput, Plan, ReadingValue
from jobs.exchange.input.json_reader import (
    DocumentError,
    DocumentIssue,
    IssueCollector,
    JsonReader,
)
from jobs.exchange.input.json_text import load_json
from jobs.exchange.input.partial_plan import PartialPlan
from jobs.exchange.input.plan import parse_plan, peek_length_unit
from jobs.exchange.input.readings import parse_entry, parse_readings

__all__ = [
    "DocumentError",
    "DocumentIssue",
    "parse_building",
    "parse_building_text",
    "parse_reading",
]


def parse_building_text(text: str | bytes) -> BuildingInput:
    """Read an exchange document from JSON text.

    Raises
    ------
    DocumentError
        With every error in `errors`, each with a JSON Pointer to its place.
    """
    refusals = IssueCollector()
    return _parse_document(load_json(text, refusals), refusals)


def parse_building(document: object) -> BuildingInput:
    """Read an exchange document that has been parsed as JSON.

    Raises
    ------
    DocumentError
        With every error in `errors`, each with a JSON Pointer to its place.
    """
    return _parse_document(document, IssueCollector())


def _parse_document(document: object, refusals: IssueCollector) -> BuildingInput:
    root = JsonReader(document, "", refusals)
    refusals.length_unit = peek_length_unit(root)
    sketch = parse_plan(root)
    readings: tuple[ReadingValue, ...] = ()
    if root.has_member("readings"):
        readings = parse_readings(root.child("readings"), sketch)
    refusals.raise_if_any()
    return BuildingInput(plan=sketch.plan, readings=readings)


def parse_reading(entry: object, plan: Plan, pointer: str = "") -> ReadingValue:
    """Read one entry of `readings` against a plan.

    What it supersedes is not looked up here: that needs the other readings, see
    `jobs.exchange.input.supersession`.

    Parameters
    ----------
    entry : object
        The entry, parsed as JSON. Bare numbers are in the plan's length unit.
    plan : Plan
        With the instruments the reading may name. [mm]
    pointer : str
        Where the entry stands, for the errors; its last step numbers a reading
        that has no id.

    Raises
    ------
    DocumentError
        With every error in `errors`.
    """
    refusals = IssueCollector(length_unit=plan.length_unit)
    step = pointer.rpartition("/")[2]
    number = int(step) + 1 if step.isdecimal() and len(step) < 10 else 1
    reading = parse_entry(
        JsonReader(entry, pointer, refusals), PartialPlan(plan), f"reading-{number}"
    )
    refusals.raise_if_any()
    return reading
