"""The exchange document in, as a JSON Schema (2020-12).

The schema says what can be said about a document without computing. What it cannot
say (an outline that crosses itself, a wall that is not there) the parser does.
"""

from typing import Any

from jobs.exchange import concrete
from jobs.exchange import vocabulary as words
from jobs.exchange.result_schema import result_schema

__all__ = ["building_schema", "result_schema"]

Schema = dict[str, Any]

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def building_schema() -> Schema:
    """Return the schema of `padstone.building/1`."""
    return {
        "$schema": DIALECT,
        "$id": "urn:padstone:building:1",
        "title": words.BUILDING_FORMAT,
        "description": "A building's anchor plan and its readings.",
        **_object(
            {
                "format": {"const": words.BUILDING_FORMAT},
                "name": _name("The building's name.", 120),
                "length_unit": {
                    "enum": list(words.LENGTH_UNITS),
                    "description": "What bare numbers are in.",
                },
                "outline": {
                    "type": "array",
                    "minItems": 3,
                    "maxItems": words.MOST_CORNERS,
                    "items": _ref("corner"),
                    "description": "Corners of the steel line, counter-clockwise as "
                    "seen from above; no edge crosses another.",
                },
                "diagonals": {
                    "type": "array",
                    "items": {
                        "type": "array",
                        "minItems": 2,
                        "maxItems": 2,
                        "items": _name("A corner."),
                    },
                    "description": "Diagonals to be measured, by their corners; both "
                    "where it is left out and the outline has four corners.",
                },
                "notch": _ref("notch"),
                "tolerances": _ref("tolerances"),
                "shim_thicknesses": {
                    "type": "array",
                    "maxItems": 40,
                    "items": _ref("length"),
                    "description": "The shims at hand, each greater than zero.",
                },
                "details": _by_name("detail", "Rod patterns and plates by name."),
                "positions": {"type": "array", "items": _ref("position")},
                "concrete": _ref("concrete"),
                "instruments": _by_name("instrument", "Tapes and levels by name."),
                "readings": {"type": "array", "items": _ref("reading")},
            },
            ("format", "name", "length_unit", "outline"),
        ),
        "$defs": _definitions(),
    }


def _definitions() -> Schema:
    return {
        "length": {
            "description": "A bare number in length_unit, or text with its own unit: "
            '23\'-4 1/2", 4 1/2", 5/8 in, 23 ft 4.5 in, 7.125 m, 7125 mm. Typographic '
            "marks read the same. A hyphen stands only directly behind the foot mark, "
            "a sign only at the very front. At most 10 km.",
            "oneOf": [
                {"type": "number"},
                {"type": "string", "maxLength": 60, "pattern": _LENGTH},
            ],
        },
        "ratio": {
            "description": 'A plain number above 0 and at most 1, or text: "1/500".',
            "oneOf": [
                {"type": "number", "exclusiveMinimum": 0, "maximum": 1},
                {"type": "string", "pattern": _RATIO},
            ],
        },
        "corner": _object(
            {"corner": _name("Its name."), "x": _ref("length"), "y": _ref("length")},
            ("corner", "x", "y"),
        ),
        "notch": _object(
            {
                "width": _length("How far the concrete reaches past the steel line."),
                "depth": _length("Below the top of the concrete."),
            },
            ("width", "depth"),
            "The sheeting notch around the slab.",
        ),
        "tolerances": _tolerances(),
        "detail": _detail(),
        "rod": _rod(),
        "position": _position(),
        "concrete": _concrete(),
        "instrument": _instrument(),
        "reading": _reading(),
    }


_RATIO = r"^\s*([0-9]{1,6} ?/ ?[0-9]{1,6}|[0-9]{0,6}\.?[0-9]{1,9})\s*$"
_LENGTH = (
    r"^\s*[-+\u2010\u2011\u2212]?[0-9.\u00bc-\u00be\u2150-\u215e].*"
    r"['\"\u2032\u2033\u2019\u201dnmt]\s*$"
)


def _tolerances() -> Schema:
    lengths = {name: _ref("length") for name in words.OVERRIDE_LENGTHS}
    ratios = {name: _ref("ratio") for name in words.OVERRIDE_RATIOS}
    return _object(
        {
            "basis": {"enum": list(words.BASES), "default": words.DEFAULT_BASIS},
            "overrides": _object(
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
    plate = _object(
        {
            "hole_diameter": _length("As punched."),
            "thickness": _ref("length"),
            "edge_distance": _length("From a hole's centre to the nearest edge."),
        },
        ("hole_diameter",),
    )
    return _object(
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
                "items": _ref("rod"),
                "description": "Numbered from 1 in this order.",
            },
        },
        ("reference", "rods"),
    )


def _rod() -> Schema:
    return _object(
        {
            "in": _length("Square to the steel line, inward."),
            "along": _length(
                "From the reference line, positive towards the wall's second corner."
            ),
            "diameter": _length("Greater than zero."),
            "projection": _length("Top of rod above the bearing surface."),
        },
        ("in", "along", "diameter"),
    )


def _position() -> Schema:
    schema = _object(
        {
            "mark": _name("Unique among the positions."),
            "detail": _name("One of the details."),
            "wall": _name("A wall by its two corners, such as SW-SE.", 81),
            "along": _length(
                "On the steel line, from the wall's first corner to the reference line."
            ),
            "x": _ref("length"),
            "y": _ref("length"),
            "turn": _quantity("Counter-clockwise, from the plan's x axis.", "90 deg"),
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


def _concrete() -> Schema:
    schema = _object(
        {
            "specified_strength": _quantity("The specified strength.", "3000 psi"),
            "sufficient_strength": _quantity(
                "Enough to carry the loads of erection, as the engineer states.",
                "15.5 MPa",
            ),
            "placed_on": {"type": "string", "format": "date"},
            "standard_cured": {
                "type": "array",
                "minItems": 1,
                "maxItems": concrete.MOST_TESTS,
                "items": _quantity("Strength of one test.", "3240 psi"),
                "description": "Standard-cured strength tests in the order made, each "
                "the mean of its cylinders. For acceptance, never for the gate.",
            },
            "maturity": _maturity(),
        }
    )
    given = [{"required": [f"{name}_strength"]} for name in ("specified", "sufficient")]
    schema["dependentRequired"] = {"standard_cured": ["specified_strength"]}
    schema["dependentSchemas"] = {"maturity": {"anyOf": given}}
    return schema


def _maturity() -> Schema:
    celsius = _quantity("Of the concrete.", "12 degC")
    hours = _plain("Hours, counted from placing.", concrete.MOST_HOURS)
    interval = _object(
        {"hours": hours, "temperature": celsius}, ("hours", "temperature")
    )
    cylinder = _object(
        {
            "maturity": _plain("With a datum [degC h].", concrete.MOST_MATURITY),
            "age": _plain("With activation [h].", concrete.MOST_MATURITY),
            "strength": _quantity("Of the cylinder.", "1500 psi"),
        },
        ("strength",),
    )
    schema = _object(
        {
            "datum": _quantity("Below which no maturity is gained.", "0 degC"),
            "activation": _plain(
                "Activation energy over the gas constant [K].",
                concrete.MOST_ACTIVATION,
            ),
            "reference": _quantity("At which an hour is an hour.", "20 degC"),
            "curve": {
                "type": "array",
                "minItems": 2,
                "maxItems": concrete.MOST_CYLINDERS,
                "items": cylinder,
                "description": "Cylinders of this mixture, of two ages at least.",
            },
            "temperatures": {
                "type": "array",
                "minItems": 1,
                "maxItems": concrete.MOST_INTERVALS,
                "items": interval,
                "description": "Of the concrete in place, one interval after another.",
            },
            "expected": _object(
                dict.fromkeys(concrete.EXPECTED, celsius),
                concrete.EXPECTED,
                "Of the concrete from now on.",
            ),
        },
        ("curve", "temperatures", "expected"),
        "For a forecast of the strength gate, which it never opens: by Nurse and Saul "
        "with a datum, by equivalent age with activation and reference.",
    )
    schema["oneOf"] = [
        {
            "required": ["datum"],
            "properties": {"activation": False, "reference": False}
            | _cylinders("maturity"),
        },
        {
            "required": ["activation", "reference"],
            "properties": {"datum": False} | _cylinders("age"),
        },
    ]
    return schema


def _cylinders(name: str) -> Schema:
    other = {"maturity": "age", "age": "maturity"}[name]
    return {"curve": {"items": {"required": [name], "properties": {other: False}}}}


def _instrument() -> Schema:
    return _object(
        {
            "kind": _name("Such as steel tape or optical level."),
            "class": {
                "enum": list(words.ACCURACY_CLASSES),
                "description": "Accuracy class of a tape (OIML R 35).",
            },
            "standard_temperature": _quantity("At which it is true.", "20 degC"),
            "nominal_length": _length("What the tape says it is."),
            "actual_length": _length("What its certificate says it is."),
            "standard_tension": _quantity("At which it is true.", "50 N"),
            "cross_section": _quantity("Of the ribbon.", "2.5 mm^2"),
            "elastic_modulus": _quantity("Of the ribbon.", "205 GPa"),
            "weight": _quantity("Of the ribbon, per length.", "0.19 N/m"),
            "standard_uncertainty": _length("Of one reading at 30 m."),
            "collimation": _quantity("Line of sight, up positive.", "20 arcsec"),
        },
        ("kind",),
    )


def _reading() -> Schema:
    return _object(
        {
            "id": _name("Names the reading for good.", words.LONGEST_ID),
            "check": _name("What is read, such as line:S1 or setback:S1.2.", 120),
            "value": {
                "description": "A length; of a strength, text with its unit.",
                "anyOf": [_ref("length"), {"type": "string", "maxLength": 60}],
            },
            "by": _name("Who took it.", 60),
            "at": {
                "type": "string",
                "format": "date-time",
                "description": "With its time zone.",
            },
            "instrument": _name("One of the instruments."),
            "temperature": _quantity("Of the tape.", "41 degF"),
            "tension": _quantity("Of the tape.", "12 lbf"),
            "slope_rise": _length("Between the ends of what was taped."),
            "span": _length("Between supports; left out, supported throughout."),
            "sight": _length("From the level to the rod."),
            "from": _name("The wall's corner a line was measured from."),
            "setup": {**_name("The level's set-up."), "default": "1"},
            "height": _length("What a plumb reading's lean is over."),
            "supersedes": _name("The id of the reading it replaces.", words.LONGEST_ID),
            "note": {"type": "string", "maxLength": words.LONGEST_NOTE},
        },
        ("check", "value"),
    )


# ---- building blocks --------------------------------------------------------


def _object(
    properties: Schema, required: tuple[str, ...] = (), description: str = ""
) -> Schema:
    schema: Schema = {"type": "object"}
    if description:
        schema["description"] = description
    schema |= {"properties": properties, "additionalProperties": False}
    if required:
        schema["required"] = list(required)
    return schema


def _ref(name: str) -> Schema:
    return {"$ref": f"#/$defs/{name}"}


def _by_name(name: str, description: str) -> Schema:
    return {
        "type": "object",
        "description": description,
        "propertyNames": _name("Its name."),
        "additionalProperties": _ref(name),
    }


def _length(description: str) -> Schema:
    return {"$ref": "#/$defs/length", "description": description}


def _name(description: str, longest: int = words.LONGEST_NAME) -> Schema:
    return {
        "type": "string",
        "minLength": 1,
        "maxLength": longest,
        "pattern": r"\S",
        "description": description,
    }


def _quantity(description: str, example: str) -> Schema:
    return {
        "type": "string",
        "maxLength": 60,
        "pattern": r"[0-9].*[A-Za-z\u00b0]",
        "description": f"{description} A number and its unit.",
        "examples": [example],
    }


def _plain(description: str, most: float) -> Schema:
    return {
        "type": "number",
        "exclusiveMinimum": 0,
        "maximum": most,
        "description": description,
    }
