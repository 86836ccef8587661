"""The findings and remedies of the exchange document out, as a JSON Schema."""

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


def definitions() -> Schema:
    """Return the definitions of a finding and all that it holds."""
    return {
        "finding": object_of(
            {
                "finding": text("Such as level:S1."),
                "checks": texts("Their keys."),
                "severity": text("Who must agree to the proposal."),
                "likely_cause": {
                    **ref_or_null("likely_cause"),
                    "description": "A hint; it never changes a number.",
                },
                "remedies": list_of(
                    "remedy", "The proposal first, then the alternatives."
                ),
                "ruled_out": list_of("ruled_out", "What will not do, and why."),
            },
            ("finding", "checks", "severity", "likely_cause", "remedies"),
        ),
        "likely_cause": object_of(
            {
                "cause": text("A word for the mistake that explains the readings."),
                "checks": texts("The checks it touches."),
                "readings": texts("The readings it touches, by id."),
                "explanation": text(),
            },
            ("cause", "explanation"),
        ),
        "ruled_out": object_of(
            {"remedy": {"enum": list(REMEDIES)}, "reason": text()},
            ("remedy", "reason"),
        ),
        "remedy": _remedy(),
        **_openings(),
        **_screen(),
        **_steel_shift(),
    }


def _remedy() -> Schema:
    return object_of(
        {
            "remedy": {"enum": list(REMEDIES)},
            "approval": {
                "enum": list(APPROVALS),
                "description": "Whether the engineer of record decides first.",
            },
            "reason": text(),
            "cautions": texts("Shown with it."),
            "why_second": text("Why an alternative is not the proposal."),
            **_figures(),
        },
        ("remedy", "approval", "reason", "cautions"),
    )


def _figures() -> Schema:
    """Return the arithmetic of each remedy; no remedy has them all."""
    return {
        "checks": texts("What to measure again."),
        "scope": text('What a shift moves: "steel", or the marks of a frame line.'),
        "shift_along": number("Of the plate, along its wall."),
        "shift_in": number("Of the plate, inward."),
        "shift_x": number("Of the steel, on plan axes."),
        "shift_y": number("Of the steel, on plan axes."),
        "turn": number("Of the plate or the steel, counter-clockwise [rad]."),
        "hole_diameter": number("All holes reamed to it."),
        "slots": list_of("slot", "Only the holes that offend."),
        "edge_left": number("Least edge distance after opening."),
        "edge_needed": number("AISC 360 Table J3.4, for the same hole."),
        "washer": ref_or_null("washer"),
        "heading": text("What the screen of replacement rods is not."),
        "assumptions": texts("What the screen takes for granted."),
        "rods": {
            "type": "array",
            "items": {"anyOf": [ref("screened_rod"), {"type": "integer"}]},
            "description": "Rods to replace with their screen, or their numbers.",
        },
        "shim": number("Total thickness."),
        "stack": texts("Its plates, thickest first."),
        "residual": number("What is left after shimming."),
        "thread_left": number("Above the nut; less than zero is missing."),
        "engaged": number("Share of the nut that is engaged."),
        "shortfall": number("What the pad is low by."),
        "deviation": number("Of what the finding is about."),
        "limit": number("On that deviation."),
        "moves": list_of("corner_move", "Any one of them squares the outline up."),
        "difference": number("Of the diagonals."),
        "strength": number("Reached so far [MPa]."),
        "required_strength": number("Of the gate [MPa]."),
        "ratio": number("Reached, of the specified strength."),
        "required": number("Ratio the gate asks for."),
        "samples": texts("The samples it rests on."),
        "move": number("At the top of the column, or of the wall, that cures it."),
        "axis": text('Of the move: "along" or "in".'),
        "height": number("Over which the lean was read."),
        **lowered(),
    }


def lowered() -> Schema:
    """Return what is told of the one high pad whose lowering saves most shims."""
    return {
        "mark": text("Of the pad to lower."),
        "lower_by": number("Down to the next highest pad."),
        "shims_saved": count("Pads that then need no shim."),
    }


def _openings() -> Schema:
    return {
        "slot": object_of(
            {
                "rod": count("Its number.", 1),
                "extension": number("What the slot is longer than the hole."),
                "direction": number("From the hole, counter-clockwise [rad]."),
                "length": number("Of the whole slot."),
                "width": number("Of the slot: the hole's diameter."),
            },
            ("rod", "extension", "direction"),
        ),
        "washer": object_of(
            {
                "size": number("Its side or diameter."),
                "thickness": number("The thickest that any of the rods asks for."),
                "source": text(),
            },
            ("size", "thickness", "source"),
        ),
        "corner_move": object_of(
            {
                "corner": text("Which one to move."),
                "wall": text("Along which wall."),
                "move": number("By how much, towards the wall's second corner."),
                "dx": number("The same on plan axes."),
                "dy": number("The same on plan axes."),
            },
            ("corner", "wall", "move"),
        ),
    }


def _screen() -> Schema:
    outcomes = {"enum": ["pass", "fail", "unknown"]}
    return {
        "screened_rod": object_of(
            {
                "rod": count("Its number.", 1),
                "miss": number("From the plan: the new rod's distance to the stub."),
                "miss_text": text("The same as a person writes it."),
                "diameter": number("Of the rod."),
                "embedment": number("Assumed, for the basic strengths."),
                "outcome": {**outcomes, "description": "The worst condition's."},
                "conditions": list_of("condition", "Each condition of the screen."),
                "strengths": ref("strengths"),
            },
            ("rod", "miss"),
        ),
        "condition": object_of(
            {
                "name": text("What is screened."),
                "value": number("What was found, null where it is not known."),
                "least": number("Asked for, in the same unit."),
                "most": number("Asked for, in the same unit."),
                "unit": text("mm, rod diameters (d), days, °C or MPa."),
                "outcome": outcomes,
                "source": text("The clause it comes from."),
            },
            ("name", "value", "unit", "outcome", "source"),
        ),
        "strengths": _strengths(),
    }


def _steel_shift() -> Schema:
    return {
        "steel_shift": object_of(
            {
                "scope": text('"steel", or the marks of a frame line.'),
                "shift_x": number("On plan axes, after the turn."),
                "shift_y": number("On plan axes, after the turn."),
                "turn": number("Counter-clockwise, about the point given [rad]."),
                "about_x": number("The point turned about."),
                "about_y": number("The point turned about."),
                "proven": flag("No move leaves fewer positions to rework."),
                "rework_before": count("Positions to rework as it is."),
                "rework_after": count("Positions to rework after the move."),
                "positions": list_of("shifted", "Its effect on every position."),
            },
            ("scope", "shift_x", "shift_y", "turn", "rework_before", "rework_after"),
        ),
        "shifted": object_of(
            {
                "mark": text(),
                "miss_before": number("Worst rod's distance less its allowance."),
                "miss_after": number("The same after the move."),
                "rework_before": flag("Whether the plate goes on as it is."),
                "rework_after": flag("Whether it does after the move."),
            },
            ("mark", "rework_before", "rework_after"),
        ),
    }


def _strengths() -> Schema:
    return {
        **object_of(
            {
                "breakout_n": number("ACI 318-19 17.6.2.2.1 [N]."),
                "edge_factor": number("ACI 318-19 17.6.2.4."),
                "breakout_at_edge_n": number("Breakout times the factor [N]."),
                "bond_n": number("ACI 318-19 17.6.5.2.1 [N]."),
                "bond_edge_mm": number("Nearer to an edge the bond is less."),
                "steel_n": number("ACI 318-19 17.6.1.2, if the grade is known."),
                "least": text_or_null("Of the three, where all are known."),
            }
        ),
        "description": "Basic tension strengths of one rod, nothing reduced.",
    }
