"""The exchange document out, as a JSON Schema (2020-12).

Members may be added in later versions and readers pass over what they do not know, so
objects are open; what is named here keeps its meaning.
"""

from jobs.exchange import vocabulary as words
from jobs.exchange.schema import result_concrete, result_remedies
from jobs.exchange.schema.result_parts import (
    Schema,
    count,
    flag,
    list_of,
    number,
    object_of,
    ref,
    ref_or_null,
    text,
    text_or_null,
    texts,
)
from jobs.exchange.schema.result_remedies import APPROVALS, REMEDIES

__all__ = ["APPROVALS", "REMEDIES", "VERDICTS", "result_schema"]

VERDICTS = ("within", "outside", "remeasure", "unmeasured")


def result_schema() -> Schema:
    """Return the schema of `padstone.result/1`."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:padstone:result:1",
        "title": words.RESULT_FORMAT,
        "description": "What was computed for a building. Lengths in mm, angles in "
        "rad, strengths in MPa, not rounded. Screening arithmetic, not design: the "
        "engineer of record, the manufacturer's drawings and local codes govern.",
        **object_of(
            _members(),
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
            **_squareness(),
            **_levels(),
            **result_concrete.definitions(),
            **_positions(),
            **result_remedies.definitions(),
        },
    }


def _members() -> Schema:
    return {
        "format": {"const": words.RESULT_FORMAT},
        "building": text("Its name."),
        "evaluated_with": text("The program and its version."),
        "tolerances": _tolerances(),
        "checks": list_of("check", "In the order of the walk."),
        "squareness": ref_or_null("squareness"),
        "positions": list_of("position", "In the order of the plan."),
        "group_rules": list_of("group_rule", "Rules of the basis on groups of rods."),
        "steel_shifts": list_of(
            "steel_shift",
            "Moves of the steel that leave fewer positions to rework; an "
            "alternative for the engineer, never applied by itself.",
        ),
        "levels": ref_or_null("levels"),
        "concrete": ref_or_null("concrete"),
        "findings": list_of("finding", "What needs a decision."),
        "cautions": texts("Standing ones, whatever the verdicts."),
    }


def _tolerances() -> Schema:
    limit = object_of(
        {
            "value": number("The limit; of a rate, its amount for each `per`."),
            "per": number("Length that a rate counts in."),
            "floor": number("Never less than this."),
            "cap": number("Never more than this."),
            "lower": number("Where the two sides differ."),
            "upper": number("Where the two sides differ."),
            "source": text('Where it is published, or "override".'),
            "mark": text("How the source was seen."),
        },
        ("value", "source"),
    )
    return {
        **object_of(
            {
                "basis": {"enum": list(words.TOLERANCE_BASES)},
                "guarded": flag("Whether uncertainty is taken off the limits."),
            },
            ("basis",),
        ),
        "additionalProperties": limit,
        "description": "Each limit in force, by its key.",
    }


def _checks() -> Schema:
    return {
        "check": object_of(
            {
                "check": text("Its key."),
                "nominal": number("What the plan says."),
                "observed": number("The mean of the standing readings, corrected."),
                "deviation": number("Observed less nominal."),
                "limit": number("On the deviation, either way."),
                "uncertainty": number("Standard, one sigma."),
                "probability": number("Of conformance (JCGM 106)."),
                "close_to_limit": flag("Asks for a second, independent reading."),
                "readings": count("How many stand."),
                "verdict": ref("verdict"),
                "kind": text("The key's first word."),
                "mark": text_or_null("Of the position, where it has one."),
                "rods": {"type": "array", "items": count("A rod's number.", 1)},
                "lower": number("Least deviation allowed."),
                "upper": number("Most deviation allowed."),
                "spread": number("Of the readings that stand."),
                "correction": number("Of the tape, added to what was read."),
                "reading_ids": texts("Of the readings that stand."),
                "reason": text_or_null("Why it is unmeasured or to be read again."),
                "required": flag("Whether a release waits for it."),
                "stage": text("Foundation, verification or erection."),
            },
            ("check", "nominal", "observed", "deviation", "limit", "verdict"),
        ),
    }


def _squareness() -> Schema:
    corner = _adjusted_corner()
    length = _adjusted_length()
    return {
        "squareness": object_of(
            {
                "difference": number("Of the two diagonals."),
                "limit": number("On the difference."),
                "verdict": ref("verdict"),
                "lean": number("Out of square, of the adjusted figure [rad]."),
                "corners": {"type": ["array", "null"], "items": corner},
                "reference_variance": number("A posteriori."),
                "suspect_readings": {
                    "type": "array",
                    "description": "Those that the others contradict, |w| > 3.29.",
                },
                "determined": flag("Whether the lengths read fix the figure."),
                "outcome": text("What the adjustment came to."),
                "note": text_or_null("Why it came to that."),
                "degrees_of_freedom": {
                    "type": "integer",
                    "description": "Lengths read less unknowns.",
                },
                "cannot_tell_which": flag("One is wrong, and any of them may be."),
                "missing_readings": texts("Checks that would fix the figure."),
                "lengths": {"type": "array", "items": length},
                "square_up": list_of(
                    "corner_move", "Any one of them squares the outline up."
                ),
            },
            ("verdict",),
        ),
    }


def _adjusted_corner() -> Schema:
    return object_of(
        {
            "corner": text("Its name."),
            "dx": number("As built less planned, plan axes."),
            "dy": number("As built less planned, plan axes."),
        },
        ("corner",),
    )


def _adjusted_length() -> Schema:
    return object_of(
        {
            "check": text("Its key."),
            "residual": number("Adjusted less observed."),
            "redundancy": number("Share of an error that shows in the residual."),
            "w": number("Residual over its standard deviation."),
        },
        ("check",),
    )


def _levels() -> Schema:
    shims = object_of(
        {"thickness": text("As the plan names it."), "count": count("How many.")},
        ("thickness", "count"),
    )
    return {
        "levels": object_of(
            {
                "misclosure": number("Of the set-ups tied together."),
                "misclosure_limit": number("On it."),
                "verdict": text("Of the misclosure."),
                "redundancy": {
                    "type": ["integer", "null"],
                    "description": "Readings less unknowns.",
                },
                "highest": text_or_null("The pad that all heights count from."),
                "pads": list_of("pad"),
                "pack_list": {
                    "type": "array",
                    "items": shims,
                    "description": "Shims of the whole building, thickest first.",
                },
                "lower_pad": {
                    "anyOf": [
                        object_of(result_remedies.lowered(), ("mark", "lower_by")),
                        {"type": "null"},
                    ],
                    "description": "The one high pad whose lowering saves most shims.",
                },
            },
            ("pads",),
        ),
        "pad": _pad(),
    }


def _pad() -> Schema:
    return object_of(
        {
            "mark": text(),
            "height": number("From the highest pad, which is 0."),
            "verdict": ref("verdict"),
            "shim": number("Total thickness."),
            "stack": {
                "type": ["array", "null"],
                "items": {"type": "string"},
                "description": "Thickest first.",
            },
            "residual": number("What is left after shimming."),
            "thread_left": number("Above the nut after shimming, at the worst."),
        },
        ("mark", "height", "verdict"),
    )


def _positions() -> Schema:
    return {
        "position": object_of(
            {
                "mark": text(),
                "shift_along": number("Of the group, as built against plan."),
                "shift_in": number("Of the group, as built against plan."),
                "turn": number("Of the group, counter-clockwise [rad]."),
                "rods": list_of("rod"),
                "plate_fit": ref_or_null("plate_fit"),
                "note": text_or_null("Why the group could not be judged."),
                "line_deviation": number("Of its reference line, along the wall."),
                "x": number("Of its planned origin, plan axes."),
                "y": number("Of its planned origin, plan axes."),
                "angle": number("Of its along axis, from the plan's x [rad]."),
            },
            ("mark", "rods"),
        ),
        "rod": object_of(
            {
                "rod": count("Its number.", 1),
                "along": number("As built, from the planned reference line."),
                "in": number("As built, from the steel line."),
                "d_along": number("As built less planned."),
                "d_in": number("As built less planned."),
                "miss": number("Distance from as built to planned."),
                "verdict": ref("verdict"),
                "determined": flag("Whether its readings fix its place."),
                "planned_along": number("From the planned reference line."),
                "planned_in": number("From the steel line."),
            },
            ("rod", "verdict"),
        ),
        "plate_fit": _plate_fit(),
        "group_rule": _group_rule(),
    }


def _plate_fit() -> Schema:
    return object_of(
        {
            "overrun": number("Zero or less fits; its amount is the slack."),
            "fits": flag("Whether the plate goes over the rods somewhere."),
            "hole_needed": number(
                "The one diameter that, for all holes, lets the plate go on."
            ),
            "shift_along": number("Of the plate at its best fit."),
            "shift_in": number("Of the plate at its best fit."),
            "turn": number("Of the plate at its best fit [rad]."),
            "hole_diameter": number("As punched."),
        },
        ("overrun", "fits", "hole_needed"),
    )


def _group_rule() -> Schema:
    return object_of(
        {
            "rule": text("Its name in the basis."),
            "source": text("Where the basis has it from."),
            "where": text("The wall, line or position it was applied to."),
            "marks": texts("The positions it binds together."),
            "deviation": number("What was found."),
            "limit": number("What is allowed."),
            "verdict": ref("verdict"),
        },
        ("rule", "marks", "verdict"),
    )
