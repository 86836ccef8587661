"""The one way in: an exchange document as text, as parsed JSON, or one reading."""

from jobs.exchange.json_text import load_json
from jobs.exchange.plan import read_plan, read_unit
from jobs.exchange.reader import Cursor, DocumentError, Refusal, Refusals
from jobs.exchange.readings import read_entry, read_readings
from jobs.exchange.sketch import Sketch
from jobs.plan.model import Building, Plan, Reading

__all__ = ["DocumentError", "Refusal", "read_building", "read_reading", "read_text"]


def read_text(text: str | bytes) -> Building:
    """Read an exchange document from JSON text.

    Raises
    ------
    DocumentError
        With every error in `errors`, each with a JSON Pointer to its place.
    """
    refusals = Refusals()
    return _read(load_json(text, refusals), refusals)


def read_building(document: object) -> Building:
    """Read an exchange document that has been parsed as JSON.

    Raises
    ------
    DocumentError
        With every error in `errors`, each with a JSON Pointer to its place.
    """
    return _read(document, Refusals())


def _read(document: object, refusals: Refusals) -> Building:
    root = Cursor(document, "", refusals)
    refusals.length_unit = read_unit(root)
    sketch = read_plan(root)
    readings: tuple[Reading, ...] = ()
    if root.has("readings"):
        readings = read_readings(root.at("readings"), sketch)
    refusals.settle()
    return Building(plan=sketch.plan, readings=readings)


def read_reading(entry: object, plan: Plan, pointer: str = "") -> Reading:
    """Read one entry of `readings` against a plan.

    What it supersedes is not looked up here: that needs the other readings, see
    `jobs.exchange.readings.supersession_faults`.

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
    refusals = Refusals(length_unit=plan.length_unit)
    step = pointer.rpartition("/")[2]
    number = int(step) + 1 if step.isdecimal() and len(step) < 10 else 1
    reading = read_entry(
        Cursor(entry, pointer, refusals), Sketch(plan), f"reading-{number}"
    )
    refusals.settle()
    return reading
