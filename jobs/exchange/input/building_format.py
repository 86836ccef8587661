"""The input format `padstone.building/1`: its members, and what each may hold.

This is the format's one definition. The parser reads every object by its typed
dictionary here (`members.read_members`), and the published JSON Schema is generated
from the same (`published_schemas`). `RULES` has what holds among the members of an
object, as far as JSON Schema can say it; the parser also checks what only computing
shows, such as an outline that crosses itself.
"""

from dataclasses import dataclass
from math import radians
from typing import Annotated, Any, NotRequired, Required, TypedDict

from core.quantities import parse_angle
from core.units import LengthUnit
from jobs.anchor_plan.values import Reference
from jobs.exchange import vocabulary
from jobs.exchange.input.concrete_format import CONCRETE_RULES, ConcreteMembers
from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.input.members import (
    ByName,
    Choice,
    Flag,
    LengthMember,
    ListOf,
    Name,
    Nested,
    Quantity,
    Ratio,
)
from jobs.exchange.input.reading_format import (
    READING_RULES,
    InstrumentMembers,
    ReadingMembers,
)
from jobs.exchange.schema.typed_schema import Schema, SchemaBuilder

# ---- the plan -----------------------------------------------------------------------


class CornerMembers(TypedDict):
    """A corner of the steel line, on plan axes (x right, y up)."""

    corner: Annotated[str, Name("Its name.")]
    x: Annotated[float, LengthMember()]
    y: Annotated[float, LengthMember()]


class NotchMembers(TypedDict):
    """The sheeting notch around the slab."""

    width: Annotated[float, LengthMember("Concrete beyond the steel line.", above=0.0)]
    depth: Annotated[float, LengthMember("Below the top of the concrete.", above=0.0)]


_ANGLE_LIMIT = Quantity(
    parse_angle,
    "Limit of an angle, greater than zero and at most "
    f"{vocabulary.MAX_OVERRIDE_ANGLE_DEG:g} deg.",
    "0.5 deg",
    above=0.0,
    at_most=(
        radians(vocabulary.MAX_OVERRIDE_ANGLE_DEG),
        f"{vocabulary.MAX_OVERRIDE_ANGLE_DEG:g} deg",
    ),
)


@dataclass(frozen=True, slots=True)
class Overrides:
    """Limits a building sets for itself, by their keys."""

    def read(self, reader: JsonReader) -> dict[str, float]:
        lengths = {name: _override(name).read for name in vocabulary.OVERRIDE_LENGTHS}
        ratios = dict.fromkeys(vocabulary.OVERRIDE_RATIOS, Ratio().read)
        angles = dict.fromkeys(vocabulary.OVERRIDE_ANGLES, _ANGLE_LIMIT.read)
        return reader.read_object({**lengths, **ratios, **angles}, ())

    def describe(self, builder: SchemaBuilder) -> Schema:
        length, ratio = LengthMember().describe(builder), Ratio().describe(builder)
        return {
            "type": "object",
            "description": "Limits the building sets for itself. For diagonals and "
            "wall a length is one flat limit in place of the rate.",
            "properties": {
                **dict.fromkeys(vocabulary.OVERRIDE_LENGTHS, length),
                **dict.fromkeys(vocabulary.OVERRIDE_RATIOS, ratio),
                **dict.fromkeys(
                    vocabulary.OVERRIDE_ANGLES, _ANGLE_LIMIT.describe(builder)
                ),
            },
            "additionalProperties": False,
        }


def _override(name: str) -> LengthMember:
    if name in vocabulary.ZERO_ALLOWED_OVERRIDES:
        return LengthMember(at_least=0.0)
    return LengthMember(above=0.0)


class TolerancesMembers(TypedDict, total=False):
    """The tolerance basis, and the limits the building sets for itself."""

    basis: Annotated[
        str,
        Choice(
            vocabulary.TOLERANCE_BASES,
            "The tolerance basis.",
            default=vocabulary.DEFAULT_BASIS,
        ),
    ]
    overrides: Annotated[dict[str, float], Overrides()]
    guarded: Annotated[
        bool, Flag("True to narrow every limit by the expanded uncertainty.")
    ]


class PlateMembers(TypedDict, total=False):
    """A base plate as punched."""

    hole_diameter: Required[Annotated[float, LengthMember("As punched.", above=0.0)]]
    thickness: Annotated[float, LengthMember(above=0.0)]
    edge_distance: Annotated[
        float, LengthMember("From a hole's centre to the nearest edge.", above=0.0)
    ]


_RodAxes = TypedDict(  # `in` is a keyword of Python
    "_RodAxes",
    {"in": Annotated[float, LengthMember("Square to the steel line, inward.")]},
)


class RodMembers(_RodAxes):
    """One rod of a detail."""

    along: Annotated[
        float,
        LengthMember(
            "From the reference line, positive towards the wall's second corner."
        ),
    ]
    diameter: Annotated[float, LengthMember("Greater than zero.", above=0.0)]
    projection: NotRequired[
        Annotated[
            float, LengthMember("Top of rod above the bearing surface.", above=0.0)
        ]
    ]


class DetailMembers(TypedDict):
    """A rod pattern and base plate shared by positions."""

    reference: Annotated[
        Reference,
        Choice(
            vocabulary.REFERENCES,
            "The reference line: the centreline of an I-shaped column, or the web of a "
            "C-shaped member.",
        ),
    ]
    rods: Annotated[
        list[JsonReader],
        ListOf(
            RodMembers,
            "Numbered from 1 in this order.",
            min_items=1,
            max_items=vocabulary.MAX_RODS_PER_DETAIL,
        ),
    ]
    plate: NotRequired[Annotated[JsonReader, Nested(PlateMembers)]]


class PositionMembers(TypedDict, total=False):
    """A position, on a wall (wall, along) or at a point (x, y, turn)."""

    mark: Required[Annotated[str, Name("Unique among the positions.")]]
    detail: Required[Annotated[str, Name("One of the details.")]]
    wall: Annotated[
        str,
        Name(
            "A wall by its two corners, such as SW-SE.",
            2 * vocabulary.MAX_NAME_LENGTH + 1,
        ),
    ]
    along: Annotated[
        float,
        LengthMember(
            "On the steel line, from the wall's first corner to the reference line.",
            at_least=0.0,
        ),
    ]
    x: Annotated[float, LengthMember()]
    y: Annotated[float, LengthMember()]
    turn: Annotated[
        float,
        Quantity(parse_angle, "Counter-clockwise, from the plan's x axis.", "90 deg"),
    ]


ON_WALL, AT_POINT = ("wall", "along"), ("x", "y", "turn")
"""The two ways to place a position."""


# ---- the document -------------------------------------------------------------------


class BuildingMembers(TypedDict, total=False):
    """A building's anchor plan and its readings."""

    format: Required[
        Annotated[
            str,
            Choice((vocabulary.BUILDING_FORMAT,), "Name and version of the format."),
        ]
    ]
    name: Required[
        Annotated[
            str, Name("The building's name.", vocabulary.MAX_BUILDING_NAME_LENGTH)
        ]
    ]
    length_unit: Required[
        Annotated[LengthUnit, Choice(vocabulary.LENGTH_UNITS, "Unit of bare numbers.")]
    ]
    outline: Required[
        Annotated[
            list[JsonReader],
            ListOf(
                CornerMembers,
                "Corners of the steel line, counter-clockwise from above; no edge "
                "crosses another.",
                min_items=3,
                max_items=vocabulary.MAX_CORNERS,
            ),
        ]
    ]
    diagonals: Annotated[
        list[JsonReader],
        ListOf(
            ListOf(Name("A corner."), min_items=2, max_items=2),
            "Diagonals to measure, by their corners; without it both, where the "
            "outline has four corners.",
        ),
    ]
    steel: Annotated[
        str,
        Choice(
            vocabulary.STEEL_STATES,
            "How far the steel is. A new building takes it; a plan revision does not "
            "change it.",
            default=vocabulary.DEFAULT_STEEL_STATE,
        ),
    ]
    notch: Annotated[JsonReader, Nested(NotchMembers)]
    tolerances: Annotated[JsonReader, Nested(TolerancesMembers)]
    shim_thicknesses: Annotated[
        list[JsonReader],
        ListOf(
            LengthMember(),
            "Shim plates available, each thicker than zero.",
            max_items=vocabulary.MAX_SHIM_THICKNESSES,
        ),
    ]
    details: Annotated[
        list[tuple[str, JsonReader]],
        ByName(DetailMembers, "detail", "Rod patterns and plates by name."),
    ]
    positions: Annotated[list[JsonReader], ListOf(PositionMembers)]
    concrete: Annotated[JsonReader, Nested(ConcreteMembers)]
    instruments: Annotated[
        list[tuple[str, JsonReader]],
        ByName(InstrumentMembers, "instrument", "Tapes and levels by name."),
    ]
    readings: Annotated[list[JsonReader], ListOf(ReadingMembers)]


# ---- rules among members, as far as JSON Schema can say them ------------------------


def _position_rules() -> Schema:
    absent = [{"required": [name]} for name in AT_POINT]
    return {
        "oneOf": [
            {"required": list(ON_WALL), "not": {"anyOf": absent}},
            {
                "required": list(AT_POINT),
                "not": {"anyOf": [{"required": [name]} for name in ON_WALL]},
            },
        ]
    }


RULES: dict[type[Any], Schema] = {
    PositionMembers: _position_rules(),
    **CONCRETE_RULES,
    **READING_RULES,
}
