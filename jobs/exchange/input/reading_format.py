"""The input format's instruments and readings."""

from collections.abc import Iterable
from datetime import datetime
from typing import Annotated, Any, NotRequired, Required, TypedDict

from core.quantities import (
    parse_angle,
    parse_area,
    parse_force,
    parse_line_weight,
    parse_modulus,
    parse_strength,
    parse_temperature,
)
from jobs.anchor_plan.check_keys import LEVEL_KINDS, TAPE_KINDS, CheckKind
from jobs.anchor_plan.values import AccuracyClass
from jobs.exchange import vocabulary
from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.input.members import (
    Choice,
    LengthMember,
    Moment,
    Name,
    Nested,
    Note,
    Quantity,
    TapeTemperature,
)
from jobs.exchange.schema.typed_schema import Schema, SchemaBuilder

_InstrumentClass = TypedDict(  # `class` is a keyword of Python
    "_InstrumentClass",
    {
        "class": NotRequired[
            Annotated[
                AccuracyClass,
                Choice(
                    vocabulary.ACCURACY_CLASSES, "Accuracy class of a tape (OIML R 35)."
                ),
            ]
        ]
    },
)


class InstrumentMembers(_InstrumentClass, total=False):
    """A tape or level, with the data its corrections need."""

    kind: Required[Annotated[str, Name("Such as steel tape or optical level.")]]
    nominal_length: Annotated[float, LengthMember("As marked.", above=0.0)]
    actual_length: Annotated[float, LengthMember("By its certificate.", above=0.0)]
    standard_uncertainty: Annotated[
        float, LengthMember("Of one reading at 30 m.", above=0.0)
    ]
    standard_temperature: Annotated[
        float, TapeTemperature(parse_temperature, "Of its nominal length.", "20 degC")
    ]
    standard_tension: Annotated[
        float, Quantity(parse_force, "Of its nominal length.", "50 N", above=0.0)
    ]
    cross_section: Annotated[
        float, Quantity(parse_area, "Of the ribbon.", "2.5 mm^2", above=0.0)
    ]
    elastic_modulus: Annotated[
        float, Quantity(parse_modulus, "Of the ribbon.", "205 GPa", above=0.0)
    ]
    weight: Annotated[
        float,
        Quantity(
            parse_line_weight, "Of the ribbon, per length.", "0.19 N/m", above=0.0
        ),
    ]
    collimation: Annotated[
        float, Quantity(parse_angle, "Line of sight, up positive.", "20 arcsec")
    ]


_ReadingFrom = TypedDict(  # `from` is a keyword of Python
    "_ReadingFrom",
    {
        "from": NotRequired[
            Annotated[str, Name("The wall's corner a line was measured from.")]
        ]
    },
)


class ReadingMembers(_ReadingFrom, total=False):
    """One reading of one check."""

    check: Required[
        Annotated[
            str,
            Name(
                "What is read, such as line:S1 or setback:S1.2.",
                3 * vocabulary.MAX_NAME_LENGTH,
            ),
        ]
    ]
    value: Required[
        Annotated[
            JsonReader,
            Nested(
                schema={"description": "A length; of a strength, text with its unit."}
            ),
        ]
    ]
    id: Annotated[str, Name("Names the reading for good.", vocabulary.MAX_ID_LENGTH)]
    by: Annotated[str, Name("Who took it.", vocabulary.MAX_BY_LENGTH)]
    at: Annotated[datetime, Moment("When it was taken.")]
    instrument: Annotated[str, Name("One of the instruments.")]
    temperature: Annotated[
        float, TapeTemperature(parse_temperature, "Of the tape.", "41 degF")
    ]
    tension: Annotated[
        float, Quantity(parse_force, "Of the tape.", "12 lbf", above=0.0)
    ]
    slope_rise: Annotated[float, LengthMember("Between the ends of a taped length.")]
    span: Annotated[
        float,
        LengthMember("Between supports; supported throughout without it.", above=0.0),
    ]
    sight: Annotated[float, LengthMember("From level to rod.", above=0.0)]
    setup: Annotated[str, Name("The level's set-up.", default=vocabulary.DEFAULT_SETUP)]
    height: Annotated[
        float, LengthMember("Height that a plumb reading covers.", above=0.0)
    ]
    supersedes: Annotated[
        str, Name("The id of the reading it replaces.", vocabulary.MAX_ID_LENGTH)
    ]
    withdrawn: Annotated[
        str,
        Name(
            "Why it does not count; it stays in the record.", vocabulary.MAX_ID_LENGTH
        ),
    ]
    note: Annotated[str, Note("Anything else.", vocabulary.MAX_NOTE_LENGTH)]


MEMBER_KINDS: dict[str, tuple[frozenset[CheckKind], str]] = {
    "from": (frozenset({CheckKind.LINE}), "a line"),
    "height": (frozenset({CheckKind.PLUMB}), "plumb"),
    **dict.fromkeys(("setup", "sight"), (LEVEL_KINDS, "a level or a benchmark")),
    **dict.fromkeys(("tension", "slope_rise", "span"), (TAPE_KINDS, "a taped length")),
}
"""Members of a reading that only some kinds of checks have: the kinds, and in words."""


# ---- rules among members, as far as JSON Schema can say them ------------------------


def _reading_rules() -> Schema:
    builder = SchemaBuilder()
    only_for = [
        {"if": {"required": [member]}, "then": _of_kind(sorted(kinds))}
        for member, (kinds, _) in MEMBER_KINDS.items()
    ]
    plumb = {"if": _of_kind([CheckKind.PLUMB]), "then": {"required": ["height"]}}
    return {
        "if": _of_kind([CheckKind.STRENGTH]),
        "then": {
            "properties": {
                "value": Quantity(parse_strength, "A strength.", "2750 psi").describe(
                    builder
                )
            }
        },
        "else": {"properties": {"value": LengthMember().describe(builder)}},
        "allOf": [*only_for, plumb],
    }


def _of_kind(kinds: Iterable[CheckKind]) -> Schema:
    check = {"type": "string", "pattern": rf"^\s*(?:{'|'.join(kinds)}):"}
    return {"required": ["check"], "properties": {"check": check}}


READING_RULES: dict[type[Any], Schema] = {ReadingMembers: _reading_rules()}
