"""The exchange document in, as a JSON Schema (2020-12).

The schema says what can be said about a document without computing. What it cannot
say (an outline that crosses itself, a wall that is not there) the parser does.
"""

from jobs.anchor_plan.check_keys import CheckKind
from jobs.exchange import vocabulary as words
from jobs.exchange.input.readings import MEMBER_KINDS
from jobs.exchange.schema import input_patterns as patterns
from jobs.exchange.schema.input_concrete import input_concrete_schema
from jobs.exchange.schema.input_parts import (
    closed_object,
    length_schema,
    name_schema,
    object_by_name,
    quantity_schema,
    ref,
)
from jobs.exchange.schema.typed_schema import Schema

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def building_schema() -> Schema:
    """Return the schema of `padstone.building/1`."""
    return {
        "$schema": DIALECT,
        "$id": "urn:padstone:building:1",
        "title": words.BUILDING_FORMAT,
        "description": "A building's anchor plan and its readings.",
        **closed_object(
            _document_members(), ("format", "name", "length_unit", "outline")
        ),
        "$defs": _definitions(),
    }


def _document_members() -> Schema:
    return {
        "format": {"const": words.BUILDING_FORMAT},
        "name": name_schema("The building's name.", 120),
        "length_unit": {
            "enum": list(words.LENGTH_UNITS),
            "description": "What bare numbers are in.",
        },
        "outline": {
            "type": "array",
            "minItems": 3,
            "maxItems": words.MAX_CORNERS,
            "items": ref("corner"),
            "description": "Corners of the steel line, counter-clockwise as "
            "seen from above; no edge crosses another.",
        },
        "diagonals": {
            "type": "array",
            "items": {
                "type": "array",
                "minItems": 2,
                "maxItems": 2,
                "items": name_schema("A corner."),
            },
            "description": "Diagonals to be measured, by their corners; both "
            "where it is left out and the outline has four corners.",
        },
        "notch": ref("notch"),
        "tolerances": ref("tolerances"),
        "shim_thicknesses": {
            "type": "array",
            "maxItems": 40,
            "items": ref("length"),
            "description": "The shims at hand, each greater than zero.",
        },
        "details": object_by_name("detail", "Rod patterns and plates by name."),
        "positions": {"type": "array", "items": ref("position")},
        "concrete": ref("concrete"),
        "instruments": object_by_name("instrument", "Tapes and levels by name."),
        "readings": {"type": "array", "items": ref("reading")},
    }


def _definitions() -> Schema:
    return {
        "length": {
            "description": "A bare number in length_unit, or text with its own unit: "
            '31\'-7 1/2", 4 1/2", 5/8 in, 31 ft 7.5 in, 7.125 m, 7125 mm. Typographic '
            "marks read the same. A hyphen stands only directly behind the foot mark, "
            "a sign only at the very front. At most 10 km.",
            "oneOf": [
                {"type": "number", "minimum": -1e7, "maximum": 1e7},
                {"type": "string", "maxLength": 60, "pattern": patterns.LENGTH},
            ],
        },
        "ratio": {
            "description": 'A plain number above 0 and at most 1, or text: "1/500".',
            "oneOf": [
                {"type": "number", "exclusiveMinimum": 0, "maximum": 1},
                {"type": "string", "pattern": patterns.RATIO},
            ],
        },
        "corner": closed_object(
            {
                "corner": name_schema("Its name."),
                "x": ref("length"),
                "y": ref("length"),
            },
            ("corner", "x", "y"),
        ),
        "notch": closed_object(
            {
                "width": length_schema(
                    "How far the concrete reaches past the steel line."
                ),
                "depth": length_schema("Below the top of the concrete."),
            },
            ("width", "depth"),
            "The sheeting notch around the slab.",
        ),
        "tolerances": _tolerances(),
        "detail": _detail(),
        "rod": _rod(),
        "position": _position(),
        "concrete": input_concrete_schema(),
        "instrument": _instrument(),
        "reading": _reading(),
    }


def _tolerances() -> Schema:
    lengths = {name: ref("length") for name in words.OVERRIDE_LENGTHS}
    ratios = {name: ref("ratio") for name in words.OVERRIDE_RATIOS}
    return closed_object(
        {
            "basis": {
                "enum": list(words.TOLERANCE_BASES),
                "default": words.DEFAULT_BASIS,
            },
            "overrides": closed_object(
                {**lengths, **ratios},
                description="Limits the building sets for itself. For diagonals and "
                "wall a length is one flat limit in place of the rate.",
            ),
            "guarded": {
                "type": "boolean",
                "default": False,
                "description": "Whether the expanded uncertainty is taken off the "
                "limit before judging.",
            },
        }
    )


def _detail() -> Schema:
    plate = closed_object(
        {
            "hole_diameter": length_schema("As punched."),
            "thickness": ref("length"),
            "edge_distance": length_schema("From a hole's centre to the nearest edge."),
        },
        ("hole_diameter",),
    )
    return closed_object(
        {
            "reference": {
                "enum": list(words.REFERENCES),
                "description": "What the reference line is: the centreline of an "
                "I-shaped column or the web of a C-shaped member.",
            },
            "plate": plate,
            "rods": {
                "type": "array",
                "minItems": 1,
                "maxItems": words.MAX_RODS_PER_DETAIL,
                "items": ref("rod"),
                "description": "Numbered from 1 in this order.",
            },
        },
        ("reference", "rods"),
    )


def _rod() -> Schema:
    return closed_object(
        {
            "in": length_schema("Square to the steel line, inward."),
            "along": length_schema(
                "From the reference line, positive towards the wall's second corner."
            ),
            "diameter": length_schema("Greater than zero."),
            "projection": length_schema("Top of rod above the bearing surface."),
        },
        ("in", "along", "diameter"),
    )


def _position() -> Schema:
    schema = closed_object(
        {
            "mark": name_schema("Unique among the positions."),
            "detail": name_schema("One of the details."),
            "wall": name_schema("A wall by its two corners, such as SW-SE.", 81),
            "along": length_schema(
                "On the steel line, from the wall's first corner to the reference line."
            ),
            "x": ref("length"),
            "y": ref("length"),
            "turn": quantity_schema(
                "Counter-clockwise, from the plan's x axis.", "90 deg"
            ),
        },
        ("mark", "detail"),
        "On a wall (wall, along) or at a point (x, y, turn).",
    )
    absent = [{"required": [name]} for name in ("x", "y", "turn")]
    schema["oneOf"] = [
        {"required": ["wall", "along"], "not": {"anyOf": absent}},
        {
            "required": ["x", "y", "turn"],
            "not": {"anyOf": [{"required": ["wall"]}, {"required": ["along"]}]},
        },
    ]
    return schema


def _instrument() -> Schema:
    return closed_object(
        {
            "kind": name_schema("Such as steel tape or optical level."),
            "class": {
                "enum": list(words.ACCURACY_CLASSES),
                "description": "Accuracy class of a tape (OIML R 35).",
            },
            "standard_temperature": quantity_schema("At which it is true.", "20 degC"),
            "nominal_length": length_schema("What the tape says it is."),
            "actual_length": length_schema("What its certificate says it is."),
            "standard_tension": quantity_schema("At which it is true.", "50 N"),
            "cross_section": quantity_schema("Of the ribbon.", "2.5 mm^2"),
            "elastic_modulus": quantity_schema("Of the ribbon.", "205 GPa"),
            "weight": quantity_schema("Of the ribbon, per length.", "0.19 N/m"),
            "standard_uncertainty": length_schema("Of one reading at 30 m."),
            "collimation": quantity_schema("Line of sight, up positive.", "20 arcsec"),
        },
        ("kind",),
    )


def _reading() -> Schema:
    schema = closed_object(
        {
            "id": name_schema("Names the reading for good.", words.MAX_ID_LENGTH),
            "check": name_schema("What is read, such as line:S1 or setback:S1.2.", 120),
            "value": {
                "description": "A length; of a strength, text with its unit.",
            },
            "by": name_schema("Who took it.", 60),
            "at": {
                "type": "string",
                "pattern": patterns.TIME,
                "description": "With its time zone (RFC 3339); seconds may be left "
                "out.",
            },
            "instrument": name_schema("One of the instruments."),
            "temperature": quantity_schema("Of the tape.", "41 degF"),
            "tension": quantity_schema("Of the tape.", "12 lbf"),
            "slope_rise": length_schema("Between the ends of what was taped."),
            "span": length_schema("Between supports; left out, supported throughout."),
            "sight": length_schema("From the level to the rod."),
            "from": name_schema("The wall's corner a line was measured from."),
            "setup": {**name_schema("The level's set-up."), "default": "1"},
            "height": length_schema("What a plumb reading's lean is over."),
            "supersedes": name_schema(
                "The id of the reading it replaces.", words.MAX_ID_LENGTH
            ),
            "note": {
                "type": "string",
                "maxLength": words.MAX_NOTE_LENGTH,
                "pattern": patterns.NOTE,
            },
        },
        ("check", "value"),
    )
    schema["if"] = _of_kind(CheckKind.STRENGTH)
    schema["then"] = {
        "properties": {"value": quantity_schema("A strength.", "2750 psi")}
    }
    schema["else"] = {"properties": {"value": ref("length")}}
    schema["allOf"] = [
        {"if": {"required": [member]}, "then": _of_kind(*sorted(kinds))}
        for member, (kinds, _) in MEMBER_KINDS.items()
    ]
    schema["allOf"].append(
        {"if": _of_kind(CheckKind.PLUMB), "then": {"required": ["height"]}}
    )
    return schema


def _of_kind(*kinds: CheckKind) -> Schema:
    """Say that a reading is of one of these kinds."""
    check = {"type": "string", "pattern": rf"^\s*(?:{'|'.join(kinds)}):"}
    return {"required": ["check"], "properties": {"check": check}}
