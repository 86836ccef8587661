"""The exchange document in, as a JSON Schema (2020-12).

The schema says what can be said about a document without computing. What it cannot
say (an outline that crosses itself, a wall that is not there) the parser does.
"""

from jobs.exchange import schema_patterns as patterns
from jobs.exchange import vocabulary as words
from jobs.exchange.given_concrete import concrete_given
from jobs.exchange.given_parts import by_name, length, name, object_of, quantity
from jobs.exchange.readings import ONLY_FOR
from jobs.exchange.result_schema import result_schema
from jobs.exchange.schema_parts import Schema, ref
from jobs.plan.sheet import Kind

__all__ = ["building_schema", "result_schema"]

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def building_schema() -> Schema:
    """Return the schema of `padstone.building/1`."""
    return {
        "$schema": DIALECT,
        "$id": "urn:padstone:building:1",
        "title": words.BUILDING_FORMAT,
        "description": "A building's anchor plan and its readings.",
        **object_of(_members(), ("format", "name", "length_unit", "outline")),
        "$defs": _definitions(),
    }


def _members() -> Schema:
    return {
        "format": {"const": words.BUILDING_FORMAT},
        "name": name("The building's name.", 120),
        "length_unit": {
            "enum": list(words.LENGTH_UNITS),
            "description": "What bare numbers are in.",
        },
        "outline": {
            "type": "array",
            "minItems": 3,
            "maxItems": words.MOST_CORNERS,
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
                "items": name("A corner."),
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
        "details": by_name("detail", "Rod patterns and plates by name."),
        "positions": {"type": "array", "items": ref("position")},
        "concrete": ref("concrete"),
        "instruments": by_name("instrument", "Tapes and levels by name."),
        "readings": {"type": "array", "items": ref("reading")},
    }


def _definitions() -> Schema:
    return {
        "length": {
            "description": "A bare number in length_unit, or text with its own unit: "
            '23\'-4 1/2", 4 1/2", 5/8 in, 23 ft 4.5 in, 7.125 m, 7125 mm. Typographic '
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
        "corner": object_of(
            {"corner": name("Its name."), "x": ref("length"), "y": ref("length")},
            ("corner", "x", "y"),
        ),
        "notch": object_of(
            {
                "width": length("How far the concrete reaches past the steel line."),
                "depth": length("Below the top of the concrete."),
            },
            ("width", "depth"),
            "The sheeting notch around the slab.",
        ),
        "tolerances": _tolerances(),
        "detail": _detail(),
        "rod": _rod(),
        "position": _position(),
        "concrete": concrete_given(),
        "instrument": _instrument(),
        "reading": _reading(),
    }


def _tolerances() -> Schema:
    lengths = {name: ref("length") for name in words.OVERRIDE_LENGTHS}
    ratios = {name: ref("ratio") for name in words.OVERRIDE_RATIOS}
    return object_of(
        {
            "basis": {"enum": list(words.BASES), "default": words.DEFAULT_BASIS},
            "overrides": object_of(
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
    plate = object_of(
        {
            "hole_diameter": length("As punched."),
            "thickness": ref("length"),
            "edge_distance": length("From a hole's centre to the nearest edge."),
        },
        ("hole_diameter",),
    )
    return object_of(
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
                "maxItems": words.MOST_RODS,
                "items": ref("rod"),
                "description": "Numbered from 1 in this order.",
            },
        },
        ("reference", "rods"),
    )


def _rod() -> Schema:
    return object_of(
        {
            "in": length("Square to the steel line, inward."),
            "along": length(
                "From the reference line, positive towards the wall's second corner."
            ),
            "diameter": length("Greater than zero."),
            "projection": length("Top of rod above the bearing surface."),
        },
        ("in", "along", "diameter"),
    )


def _position() -> Schema:
    schema = object_of(
        {
            "mark": name("Unique among the positions."),
            "detail": name("One of the details."),
            "wall": name("A wall by its two corners, such as SW-SE.", 81),
            "along": length(
                "On the steel line, from the wall's first corner to the reference line."
            ),
            "x": ref("length"),
            "y": ref("length"),
            "turn": quantity("Counter-clockwise, from the plan's x axis.", "90 deg"),
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
    return object_of(
        {
            "kind": name("Such as steel tape or optical level."),
            "class": {
                "enum": list(words.ACCURACY_CLASSES),
                "description": "Accuracy class of a tape (OIML R 35).",
            },
            "standard_temperature": quantity("At which it is true.", "20 degC"),
            "nominal_length": length("What the tape says it is."),
            "actual_length": length("What its certificate says it is."),
            "standard_tension": quantity("At which it is true.", "50 N"),
            "cross_section": quantity("Of the ribbon.", "2.5 mm^2"),
            "elastic_modulus": quantity("Of the ribbon.", "205 GPa"),
            "weight": quantity("Of the ribbon, per length.", "0.19 N/m"),
            "standard_uncertainty": length("Of one reading at 30 m."),
            "collimation": quantity("Line of sight, up positive.", "20 arcsec"),
        },
        ("kind",),
    )


def _reading() -> Schema:
    schema = object_of(
        {
            "id": name("Names the reading for good.", words.LONGEST_ID),
            "check": name("What is read, such as line:S1 or setback:S1.2.", 120),
            "value": {
                "description": "A length; of a strength, text with its unit.",
            },
            "by": name("Who took it.", 60),
            "at": {
                "type": "string",
                "pattern": patterns.TIME,
                "description": "With its time zone (RFC 3339); seconds may be left "
                "out.",
            },
            "instrument": name("One of the instruments."),
            "temperature": quantity("Of the tape.", "41 degF"),
            "tension": quantity("Of the tape.", "12 lbf"),
            "slope_rise": length("Between the ends of what was taped."),
            "span": length("Between supports; left out, supported throughout."),
            "sight": length("From the level to the rod."),
            "from": name("The wall's corner a line was measured from."),
            "setup": {**name("The level's set-up."), "default": "1"},
            "height": length("What a plumb reading's lean is over."),
            "supersedes": name("The id of the reading it replaces.", words.LONGEST_ID),
            "note": {
                "type": "string",
                "maxLength": words.LONGEST_NOTE,
                "pattern": patterns.NOTE,
            },
        },
        ("check", "value"),
    )
    schema["if"] = _of(Kind.STRENGTH)
    schema["then"] = {"properties": {"value": quantity("A strength.", "2750 psi")}}
    schema["else"] = {"properties": {"value": ref("length")}}
    schema["allOf"] = [
        {"if": {"required": [member]}, "then": _of(*sorted(kinds))}
        for member, (kinds, _) in ONLY_FOR.items()
    ]
    schema["allOf"].append({"if": _of(Kind.PLUMB), "then": {"required": ["height"]}})
    return schema


def _of(*kinds: Kind) -> Schema:
    """Say that a reading is of one of these kinds."""
    check = {"type": "string", "pattern": rf"^\s*(?:{'|'.join(kinds)}):"}
    return {"required": ["check"], "properties": {"check": check}}
