"""The tapes and levels of an exchange document."""

from core.quantities import (
    parse_angle,
    parse_area,
    parse_force,
    parse_line_weight,
    parse_modulus,
    parse_temperature,
)
from jobs.anchor_plan.values import InstrumentSpec
from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.vocabulary import ACCURACY_CLASSES

MAX_TAPE_LENGTH_ERROR_RATIO = 0.01
"""Of its nominal length: a tape further off than that is a typing error."""

_TAPE_QUANTITIES = {
    "standard_temperature": (parse_temperature, None),
    "standard_tension": (parse_force, 0.0),
    "cross_section": (parse_area, 0.0),
    "elastic_modulus": (parse_modulus, 0.0),
    "weight": (parse_line_weight, 0.0),
    "collimation": (parse_angle, None),
}
_INSTRUMENT_LENGTHS = ("nominal_length", "actual_length", "standard_uncertainty")


def parse_instruments(cursor: JsonReader) -> dict[str, InstrumentSpec]:
    """Read the instruments by name."""
    return {
        name: _parse_instrument(name, child)
        for name, child in cursor.read_mapping("instrument")
    }


def _parse_instrument(name: str, cursor: JsonReader) -> InstrumentSpec:
    members = cursor.read_object(
        ("kind",), ("class", *_INSTRUMENT_LENGTHS, *_TAPE_QUANTITIES)
    )
    lengths = {
        each: members[each].read_mm(above=0.0)
        for each in _INSTRUMENT_LENGTHS
        if each in members
    }
    quantities = {
        each: members[each].read_quantity(parse, above=above)
        for each, (parse, above) in _TAPE_QUANTITIES.items()
        if each in members
    }
    nominal, actual = lengths.get("nominal_length"), lengths.get("actual_length")
    if (
        nominal
        and actual
        and abs(actual - nominal) > MAX_TAPE_LENGTH_ERROR_RATIO * nominal
    ):
        members["actual_length"].add_issue(
            "A tape's actual length is within 1 % of its nominal length; this is "
            "more likely a typing error."
        )
    return InstrumentSpec(
        name=name,
        kind=members["kind"].read_name() if "kind" in members else "",
        accuracy_class=(
            members["class"].read_choice(ACCURACY_CLASSES)
            if "class" in members
            else None
        ),
        **lengths,
        **quantities,
    )
