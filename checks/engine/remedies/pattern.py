"""Rods out of place: shift, ream, slot, re-anchor, in that order of preference.

The order is common practice; the rules each step leans on are named in its reason.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, degrees, floor
from typing import Any

from checks.engine import cautions
from checks.engine.conformity import SLACK_MM
from checks.engine.fasteners import INCH_MM
from checks.engine.remedies.remedy import (
    Advice,
    Remedy,
    rank_remedies,
    refer_to_engineer,
)
from core.units import LengthStyle, format_length

MOVE_BEFORE_POUR = "Before the pour the rods can still be moved to the plan."


@dataclass(frozen=True, slots=True, kw_only=True)
class HoleOpening:
    """Holes to open, and whether the plate's edge allows it.

    `edge_left` and `edge_needed` in mm; NaN where the detail gives no edge distance.
    With slots, `shift` and `turn` are where the plate then sits.
    """

    edge_left: float
    edge_needed: float
    washer: Mapping[str, Any] | None
    hole_diameter: float = float("nan")
    slots: tuple[Mapping[str, Any], ...] = ()
    shift: tuple[float, float] = (0.0, 0.0)
    rotation: float = 0.0

    @property
    def edge_known(self) -> bool:
        """Whether the detail gives an edge distance."""
        return self.edge_left == self.edge_left

    @property
    def edge_allows(self) -> bool:
        """Whether enough edge is left; not known is no."""
        return self.edge_left >= self.edge_needed - SLACK_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternCase:
    """One position whose rods are not where the plan has them. Lengths in mm.

    `overrun_as_drawn` is that of the plate at its planned place, `overrun` that of
    the best place within `line_limit` of it, reached by `shift` and `turn`. `slot` is
    None where slotting is out of the question before its figures are. `turned` is the
    turn with which alone the plate goes on as punched, where that carries a hole
    (`turned_carries`) beyond `line_limit`, and `overrun` is then that of a plate that
    is turned no further than it may be shifted; else 0. `before_pour`: the rods can
    still be moved, so that no hole is opened and no rod is cut.
    """

    style: LengthStyle
    worst_position_error: float
    line_limit: float
    reanchor_beyond: float
    interference_as_drawn: float
    interference: float
    shift: tuple[float, float]
    rotation: float
    ream: HoleOpening
    slot: HoleOpening | None
    reanchor: Mapping[str, Any]
    needed_rotation: float = 0.0
    needed_rotation_chord: float = 0.0
    before_pour: bool = False


def advise_pattern(
    case: PatternCase, remeasure: Remedy | None, moves: Sequence[Remedy] = ()
) -> Advice:
    """Rods out of place: what lets the plate go on, least intrusive first.

    Parameters
    ----------
    case : the figures of the position.
    again : the remedy to measure again, where there is a reason to.
    moves : moves of more steel than this position's, always alternatives.
    """
    found: list[Remedy] = [] if remeasure is None else [remeasure]
    out: list[tuple[str, str]] = []
    for step in (_shift, _ream, _slot, _reanchor):
        answer = step(case)
        if isinstance(answer, Remedy):
            found.append(answer)
        else:
            out.append(answer)
    found.extend(moves)
    found.append(_refer_rods(case))
    return Advice(remedies=rank_remedies(found), ruled_out=tuple(out))


def _refer_rods(case: PatternCase) -> Remedy:
    """What is left to the engineer: above all an edge distance nobody has given."""
    if (
        case.interference <= SLACK_MM
        or _explain_no_opening(case)
        or case.ream.edge_known
    ):
        return refer_to_engineer(
            "Something else the engineer prefers: the rods are as measured."
        )
    diameter = _format_rounded_up(case.ream.hole_diameter, case.style)
    return refer_to_engineer(
        f"All holes opened to {diameter} would let the plate on, but the detail gives"
        " no edge distance to judge that by: it is on the plate's drawing.",
        hole_diameter=case.ream.hole_diameter,
        edge_needed=case.ream.edge_needed,
    )


def _format_rounded_up(mm: float, style: LengthStyle, denominator: int = 32) -> str:
    """A size that is to be enough, never written smaller than it is."""
    step = 0.1 if style == "metric" else INCH_MM / denominator
    return format_length(step * ceil(mm / step - 1e-6), style, denominator)


def _format_rounded_down(mm: float, style: LengthStyle, denominator: int = 32) -> str:
    """What is left of something, never written larger than it is."""
    step = 0.1 if style == "metric" else INCH_MM / denominator
    return format_length(step * floor(mm / step + 1e-6), style, denominator)


def _shift(case: PatternCase) -> Remedy | tuple[str, str]:
    """The plate as punched, at its place or moved within the line tolerance."""
    limit = format_length(case.line_limit, case.style)
    if case.needed_rotation:
        carries = format_length(case.needed_rotation_chord, case.style, 32)
        return (
            "shift",
            "The plate goes over the rods as punched only"
            f" {_describe_rotation(case.needed_rotation)}, which carries a hole by {carries}, more than"
            f" the line tolerance {limit}.",
        )
    if case.interference > SLACK_MM:
        short = _format_rounded_up(case.interference, case.style, 64)
        return (
            "shift",
            f"Even moved by up to {limit} each way, the line tolerance, the plate"
            f" misses by {short}.",
        )
    if case.interference_as_drawn <= SLACK_MM:
        shift, turn, how = (0.0, 0.0), 0.0, "as drawn"
    else:
        along, inward = (format_length(v, case.style, 32) for v in case.shift)
        shift, turn = case.shift, case.rotation
        both = f"{along} along and {inward} in"
        turn_too = f", {_describe_rotation(turn)}" if _is_visible_rotation(turn) else ""
        how = f"moved {both}, within the line tolerance {limit}{turn_too}"
    return Remedy(
        remedy="shift",
        approval="field",
        reason=f"The plate goes over the rods as punched, set {how}.",
        cautions=(cautions.SCREENING, cautions.NOTICES),
        quantities={"shift_along": shift[0], "shift_in": shift[1], "turn": turn},
        why_second=MOVE_BEFORE_POUR if case.before_pour else None,
    )


def _is_visible_rotation(turn_rad: float) -> bool:
    """Whether a turn is more than nothing to a tenth of a degree."""
    return abs(degrees(turn_rad)) >= 0.05


def _describe_rotation(turn_rad: float) -> str:
    """A turn as a sentence names it, seen from above."""
    way = "counter-clockwise" if turn_rad > 0.0 else "clockwise"
    return f"turned {abs(degrees(turn_rad)):.1f}° {way}"


def _describe_seat(turn_rad: float) -> str:
    """How a plate then sits, if it is turned at all: the column turns with it."""
    return f", {_describe_rotation(turn_rad)}" if _is_visible_rotation(turn_rad) else ""


def advise_without_plate(
    remeasure: Remedy | None, too_far: str | None, reanchor: Mapping[str, Any]
) -> Advice:
    """Rods out of place where the detail has no plate to judge them by.

    Parameters
    ----------
    again : the remedy to measure again, where there is a reason to.
    far : why a rod is to be set anew whatever the plate, if one is.
    re_anchor : the figures of that.
    """
    found = [] if remeasure is None else [remeasure]
    if too_far:
        found.append(_reanchor_remedy(too_far, reanchor))
    found.append(
        refer_to_engineer("The detail has no base plate to judge the rods by.")
    )
    return Advice(remedies=rank_remedies(found))


def _explain_too_far(case: PatternCase) -> str | None:
    """Why neither reaming nor slotting is sensible, if so."""
    return explain_too_far(case.worst_position_error, case.reanchor_beyond, case.style)


def explain_too_far(
    worst_position_error: float, reanchor_beyond: float, style: LengthStyle
) -> str | None:
    """Why a rod is set anew whatever the plate, None where it is near enough.

    Parameters
    ----------
    worst_miss : of the rod furthest from the plan. [mm]
    re_anchor_beyond : the miss beyond which cutting is easier, common practice. [mm]
    style : how lengths are written.
    """
    if worst_position_error <= reanchor_beyond + SLACK_MM:
        return None
    miss = _format_rounded_up(worst_position_error, style, 64)
    beyond = format_length(reanchor_beyond, style)
    return (
        f"A rod is {miss} from the plan, more than {beyond}, beyond which cutting and"
        " re-anchoring is usually easier (common practice)."
    )


def _explain_no_opening(case: PatternCase) -> str | None:
    """Why no hole is opened at all, if so."""
    return MOVE_BEFORE_POUR if case.before_pour else _explain_too_far(case)


def _describe_edge(opening: HoleOpening, style: LengthStyle) -> str:
    """The edge distance after opening, against AISC 360 Table J3.4."""
    if not opening.edge_known:
        return "The detail gives no edge distance, so the plate's edge cannot be shown."
    left = _format_rounded_down(opening.edge_left, style)
    needed = format_length(opening.edge_needed, style, 32)
    word = "at least" if opening.edge_allows else "less than"
    return (
        f"The edge left, {left}, is {word} the {needed} of AISC 360 Table J3.4"
        " (secondary source)."
    )


def _ream(case: PatternCase) -> Remedy | tuple[str, str]:
    """One larger diameter for every hole."""
    far = _explain_no_opening(case)
    if far:
        return ("ream", far)
    if case.interference <= SLACK_MM:
        return ("ream", "The plate goes over the rods without it.")
    if not case.ream.edge_allows:
        return ("ream", _describe_edge(case.ream, case.style))
    diameter = _format_rounded_up(case.ream.hole_diameter, case.style)
    return Remedy(
        remedy="ream",
        approval="engineer",
        reason=(
            f"All holes opened to {diameter} let the plate on{_describe_seat(case.rotation)}."
            f" {_describe_edge(case.ream, case.style)}"
        ),
        cautions=(cautions.SCREENING, cautions.WASHER, cautions.NOTICES),
        quantities={
            "hole_diameter": case.ream.hole_diameter,
            "shift_along": case.shift[0],
            "shift_in": case.shift[1],
            "turn": case.rotation,
            "edge_left": case.ream.edge_left,
            "edge_needed": case.ream.edge_needed,
            "washer": case.ream.washer,
        },
    )


def _slot(case: PatternCase) -> Remedy | tuple[str, str]:
    """Only the offending holes, each in the direction its rod lies."""
    far = _explain_no_opening(case)
    if far:
        return ("slot", far)
    if case.interference <= SLACK_MM:
        return ("slot", "The plate goes over the rods without it.")
    if case.slot is None or not case.slot.slots:
        return ("slot", "No slot of the offending holes lets the plate on.")
    if not case.slot.edge_allows:
        return ("slot", _describe_edge(case.slot, case.style))
    holes = ", ".join(
        f"rod {slot['rod']} by {_format_rounded_up(slot['extension'], case.style)}"
        for slot in case.slot.slots
    )
    return Remedy(
        remedy="slot",
        approval="engineer",
        reason=(
            "Slotting only the offending holes lets the plate"
            f" on{_describe_seat(case.slot.rotation)}: {holes}."
            f" {_describe_edge(case.slot, case.style)}"
        ),
        cautions=(cautions.SCREENING, cautions.WASHER, cautions.NOTICES),
        quantities={
            "slots": [dict(slot) for slot in case.slot.slots],
            "shift_along": case.slot.shift[0],
            "shift_in": case.slot.shift[1],
            "turn": case.slot.rotation,
            "edge_left": case.slot.edge_left,
            "edge_needed": case.slot.edge_needed,
            "washer": case.slot.washer,
        },
    )


def _reanchor(case: PatternCase) -> Remedy | tuple[str, str]:
    """Cut the rod off and set another, screened by ACI 318-19 chapter 17."""
    if case.interference <= SLACK_MM:
        return ("re_anchor", "The plate goes over the rods as they stand.")
    if case.before_pour:
        return ("re_anchor", MOVE_BEFORE_POUR)
    far = _explain_too_far(case)
    if not far and not case.ream.edge_known:
        return (
            "re_anchor",
            f"{_describe_edge(case.ream, case.style)} That comes first.",
        )
    slot_allows = case.slot is not None and case.slot.edge_allows
    no_edge = not (case.ream.edge_allows or slot_allows)
    if far:
        reason = far
    elif no_edge:
        reason = "Opening the holes would leave too little edge on the plate."
    else:
        reason = "A replacement rod in the planned place."
    return _reanchor_remedy(reason, case.reanchor)


def _reanchor_remedy(reason: str, figures: Mapping[str, Any]) -> Remedy:
    return Remedy(
        remedy="re_anchor",
        approval="engineer",
        reason=f"{reason} The screen of a replacement rod is given with it.",
        cautions=(
            cautions.SCREENING,
            cautions.RODS,
            cautions.DRILLING,
            cautions.ADHESIVE,
        ),
        quantities=dict(figures),
    )
