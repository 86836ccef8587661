"""The tapes and levels of a building document."""

from jobs.anchor_plan.values import InstrumentSpec
from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.input.members import read_members
from jobs.exchange.input.reading_format import InstrumentMembers
from jobs.exchange.issues import IssueCollector

MAX_TAPE_LENGTH_ERROR_RATIO = 0.01
"""A tape further off its nominal length than this is a typing error. Project choice."""


def parse_instrument_entry(name: str, entry: object) -> InstrumentSpec:
    """Parse one instrument by itself, its name included.

    Raises
    ------
    DocumentError
        With every issue, at pointers below `/instruments`.
    """
    collector = IssueCollector()
    reader = JsonReader({name: entry}, collector, step="/instruments")
    read = [parse_instrument(*each) for each in reader.read_mapping("instrument")]
    collector.raise_if_any()
    return read[0]


def parse_instrument(name: str, reader: JsonReader) -> InstrumentSpec:
    """Parse one instrument."""
    members = read_members(reader, InstrumentMembers)
    nominal, actual = members.get("nominal_length"), members.get("actual_length")
    if nominal and actual:
        error = abs(actual - nominal)
        if error > MAX_TAPE_LENGTH_ERROR_RATIO * nominal:
            reader.child("actual_length").add_issue(
                "A tape's actual length is within 1 % of its nominal length; this "
                "looks like a typing error."
            )
    return InstrumentSpec(
        name=name,
        kind=members.get("kind", ""),
        accuracy_class=members.get("class"),
        standard_temperature=members.get("standard_temperature"),
        nominal_length=nominal,
        actual_length=actual,
        standard_tension=members.get("standard_tension"),
        cross_section=members.get("cross_section"),
        elastic_modulus=members.get("elastic_modulus"),
        weight=members.get("weight"),
        standard_uncertainty=members.get("standard_uncertainty"),
        collimation=members.get("collimation"),
    )
