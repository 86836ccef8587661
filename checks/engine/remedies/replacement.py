"""Remedies that replace a rod, and what rules a replacement out.

A rod is cut off and a new one set where the plan has it. That gives up a cast rod, and
it is proposed only where no condition of its screen fails (ACI 318-19 chapter 17, and
a drill that must clear the old stub).
"""

from collections.abc import Mapping
from typing import Any

from checks.engine import cautions
from checks.engine.conformity import SLACK_MM
from checks.engine.remedies.remedy import (
    Advice,
    Remedy,
    format_rounded_up,
    rank_remedies,
    refer_to_engineer,
)
from core.formatting import DisplayStyle, format_strength
from core.units import LengthStyle, format_length
from core.vocabulary import Approval, RemedyKind

MAX_FAILED_CONDITIONS = 3
"""Failed conditions of a screen that a sentence lists; the rest is counted."""


def explain_failed_screen(
    reanchor: Mapping[str, Any], style: LengthStyle
) -> str | None:
    """Explain which conditions rule a replacement rod out; None where none fails.

    A condition that is not known, such as the concrete's temperature on the day, rules
    nothing out: the engineer sees it in the screen.

    Parameters
    ----------
    reanchor : mapping
        Quantities of the replacement, with the conditions of each rod's screen.
    style : LengthStyle
        How lengths are written.
    """
    failed = [
        f"rod {rod['rod']}, {_describe_condition(condition, style)}"
        for rod in reanchor.get("rods", ())
        for condition in rod["conditions"]
        if condition["outcome"] == "fail"
    ]
    if not failed:
        return None
    more = len(failed) - MAX_FAILED_CONDITIONS
    listed = failed[:MAX_FAILED_CONDITIONS] + ([f"and {more} more"] if more > 0 else [])
    return f"A replacement rod fails its screen: {'; '.join(listed)}."


def _describe_condition(condition: Mapping[str, Any], style: LengthStyle) -> str:
    """Describe a condition that fails, by its value and its limit."""
    value, least, unit = condition["value"], condition["least"], condition["unit"]
    name = condition["name"]
    if unit == "mm":
        return f"{name} {format_rounded_up(-value, style, 64)} short"
    if unit == "d":
        return f"{name} {value:.1f} of {least:g} rod diameters"
    if unit == "MPa":
        strengths = (format_strength(mpa, _DISPLAY[style]) for mpa in (value, least))
        return f"{name} {' of '.join(strengths)}"
    return f"{name} {value:.0f} of {least:g} {unit}"


_DISPLAY: dict[LengthStyle, DisplayStyle] = {
    "imperial": "imperial",
    "inches": "imperial",
    "decimal_feet": "decimal",
    "metric": "metric",
}


def explain_too_far(
    worst_position_error: float, reanchor_beyond: float, style: LengthStyle
) -> str | None:
    """Explain why a rod must be replaced whatever the plate; None if near enough.

    Parameters
    ----------
    worst_position_error : float
        Of the rod furthest from the plan. [mm]
    reanchor_beyond : float
        Position error beyond which cutting is easier, common practice. [mm]
    style : LengthStyle
        How lengths are written.
    """
    if worst_position_error <= reanchor_beyond + SLACK_MM:
        return None
    error = format_rounded_up(worst_position_error, style, 64)
    beyond = format_length(reanchor_beyond, style)
    return (
        f"A rod is {error} from the plan. Beyond {beyond}, cutting it off and"
        " re-anchoring is usually easier (common practice)."
    )


def propose_replacement_rod(reason: str, quantities: Mapping[str, Any]) -> Remedy:
    """Propose a replacement rod, with the quantities of its screen."""
    return Remedy(
        kind=RemedyKind.RE_ANCHOR,
        approval=Approval.ENGINEER,
        reason=f"{reason} The screen of the replacement rod is attached.",
        cautions=(
            cautions.SCREENING,
            cautions.RODS,
            cautions.DRILLING,
            cautions.ADHESIVE,
        ),
        quantities=dict(quantities),
    )


def advise_without_plate(
    remeasure: Remedy | None,
    too_far: str | None,
    reanchor: Mapping[str, Any],
    style: LengthStyle,
) -> Advice:
    """Propose remedies for rods whose detail has no base plate.

    Parameters
    ----------
    remeasure : Remedy or None
        The remedy to measure again, where there is a reason for it.
    too_far : str or None
        Why a rod must be replaced whatever the plate, if so.
    reanchor : mapping
        Quantities of the replacement.
    style : LengthStyle
        How lengths are written.
    """
    remedies = [] if remeasure is None else [remeasure]
    ruled_out: list[tuple[RemedyKind, str]] = []
    reason = "The detail has no base plate to check the rods against."
    quantities: Mapping[str, Any] = {}
    if too_far:
        failed = explain_failed_screen(reanchor, style)
        if failed:
            ruled_out.append((RemedyKind.RE_ANCHOR, failed))
            reason, quantities = f"{too_far} {failed} {reason}", reanchor
        else:
            remedies.append(propose_replacement_rod(too_far, reanchor))
    remedies.append(refer_to_engineer(reason, **quantities))
    return Advice(remedies=rank_remedies(remedies), ruled_out=tuple(ruled_out))
