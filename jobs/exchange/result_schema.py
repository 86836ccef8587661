"""The exchange document out, as a JSON Schema (2020-12).

Members may be added in later versions and readers pass over what they do not know, so
objects are open; what is named here keeps its meaning.
"""

from typing import Any

from jobs.exchange import vocabulary as words

Schema = dict[str, Any]

VERDICTS = ("within", "outside", "remeasure", "unmeasured")
REMEDIES = (
    "remeasure",
    "shift",
    "shim",
    "ream",
    "slot",
    "re_anchor",
    "extend_rod",
    "lower_pad",
    "square_up",
    "wait_for_strength",
    "plumb_up",
    "refer",
)
APPROVALS = ("field", "engineer")


def result_schema() -> Schema:
    """Return the schema of `padstone.result/1`."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:padstone:result:1",
        "title": words.RESULT_FORMAT,
        "description": "What was computed for a building. Lengths in mm, angles in "
        "rad, strengths in MPa, not rounded. Screening arithmetic, not design: the "
        "engineer of record, the manufacturer's drawings and local codes govern.",
        **_object(
            {
                "format": {"const": words.RESULT_FORMAT},
                "building": {"type": "string"},
                "evaluated_with": {"type": "string"},
                "tolerances": {
                    "type": "object",
                    "properties": {"basis": {"enum": list(words.BASES)}},
                    "required": ["basis"],
                },
                "checks": _list("check"),
                "squareness": {"anyOf": [_ref("squareness"), {"type": "null"}]},
                "positions": _list("position"),
                "levels": {"anyOf": [_ref("levels"), {"type": "null"}]},
                "concrete": {"anyOf": [_ref("concrete"), {"type": "null"}]},
                "findings": _list("finding"),
            },
            (
                "format",
                "building",
                "evaluated_with",
                "tolerances",
                "checks",
                "squareness",
                "positions",
                "levels",
                "concrete",
                "findings",
            ),
        ),
        "$defs": {
            "verdict": {
                "enum": list(VERDICTS),
                "description": "A deviation equal to its limit is within; what was "
                "not measured is unmeasured, never within.",
            },
            **_checks(),
            **_positions(),
            **_findings(),
        },
    }


def _checks() -> Schema:
    return {
        "check": _object(
            {
                "check": {"type": "string", "description": "Its key."},
                "nominal": _number("What the plan says."),
                "observed": _number("The mean of the standing readings, corrected."),
                "deviation": _number("Observed less nominal."),
                "limit": _number("On the deviation, either way."),
                "uncertainty": _number("Standard, one sigma."),
                "probability": _number("Of conformance (JCGM 106)."),
                "close_to_limit": {
                    "type": "boolean",
                    "description": "Asks for a second, independent reading.",
                },
                "readings": {"type": "integer", "minimum": 0},
                "verdict": _ref("verdict"),
            },
            ("check", "nominal", "observed", "deviation", "limit", "verdict"),
        ),
        "squareness": _object(
            {
                "difference": _number("Of the two diagonals."),
                "limit": _number("On the difference."),
                "verdict": _ref("verdict"),
                "lean": _number("Out of square, of the adjusted figure [rad]."),
                "corners": {"type": ["array", "null"], "items": {"type": "object"}},
                "reference_variance": _number("A posteriori."),
                "suspect_readings": {"type": "array"},
            },
            ("verdict",),
        ),
        "levels": _object(
            {
                "misclosure": _number("Of the set-ups tied together."),
                "pads": _list("pad"),
            },
            ("pads",),
        ),
        "pad": _object(
            {
                "mark": {"type": "string"},
                "height": _number("From the highest pad, which is 0."),
                "verdict": _ref("verdict"),
                "shim": _number("Total thickness."),
                "stack": {
                    "type": ["array", "null"],
                    "items": {"type": "string"},
                    "description": "Thickest first.",
                },
                "residual": _number("What is left after shimming."),
            },
            ("mark", "height", "verdict"),
        ),
        "concrete": _object(
            {
                "ratio": _number("Of the specified strength."),
                "verdict": _ref("verdict"),
            },
            ("verdict",),
        ),
    }


def _positions() -> Schema:
    return {
        "position": _object(
            {
                "mark": {"type": "string"},
                "shift_along": _number("Of the group, as built against plan."),
                "shift_in": _number("Of the group, as built against plan."),
                "turn": _number("Of the group, counter-clockwise [rad]."),
                "rods": _list("rod"),
                "plate_fit": {"anyOf": [_ref("plate_fit"), {"type": "null"}]},
            },
            ("mark", "rods"),
        ),
        "rod": _object(
            {
                "rod": {"type": "integer", "minimum": 1},
                "along": _number("As built, from the planned reference line."),
                "in": _number("As built, from the steel line."),
                "d_along": _number("As built less planned."),
                "d_in": _number("As built less planned."),
                "miss": _number("Distance from as built to planned."),
                "verdict": _ref("verdict"),
            },
            ("rod", "verdict"),
        ),
        "plate_fit": _object(
            {
                "overrun": _number("Zero or less fits; its amount is the slack."),
                "fits": {"type": "boolean"},
                "hole_needed": _number(
                    "The one diameter that, for all holes, lets the plate go on."
                ),
                "shift_along": _number("Of the plate at its best fit."),
                "shift_in": _number("Of the plate at its best fit."),
                "turn": _number("Of the plate at its best fit [rad]."),
            },
            ("overrun", "fits", "hole_needed"),
        ),
    }


def _findings() -> Schema:
    return {
        "finding": _object(
            {
                "finding": {"type": "string", "description": "Such as level:S1."},
                "checks": {"type": "array", "items": {"type": "string"}},
                "severity": {"type": "string"},
                "likely_cause": {
                    "type": ["object", "null"],
                    "description": "A hint; it never changes a number.",
                },
                "remedies": {
                    **_list("remedy"),
                    "description": "The proposal first, then the alternatives.",
                },
            },
            ("finding", "checks", "severity", "likely_cause", "remedies"),
        ),
        "remedy": _object(
            {
                "remedy": {"enum": list(REMEDIES)},
                "approval": {
                    "enum": list(APPROVALS),
                    "description": "Whether the engineer of record decides first.",
                },
                "reason": {"type": "string"},
                "cautions": {"type": "array", "items": {"type": "string"}},
            },
            ("remedy", "approval", "reason", "cautions"),
        ),
    }


def _object(properties: Schema, required: tuple[str, ...]) -> Schema:
    return {"type": "object", "properties": properties, "required": list(required)}


def _ref(name: str) -> Schema:
    return {"$ref": f"#/$defs/{name}"}


def _list(name: str) -> Schema:
    return {"type": "array", "items": _ref(name)}


def _number(description: str) -> Schema:
    return {"type": ["number", "null"], "description": description}
