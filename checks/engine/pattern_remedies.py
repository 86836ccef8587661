"""Rods out of place: shift, ream, slot, re-anchor, in that order of preference.

The order is common practice; the rules each step leans on are named in its reason.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from checks.engine import cautions
from checks.engine.acceptance import SLACK_MM
from checks.engine.remedies import Advice, Remedy, ranked, refer
from core.units import LengthStyle, format_length


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
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
    turn: float = 0.0

    @property
    def edge_allows(self) -> bool:
        """Whether enough edge is left; not known is no."""
        return self.edge_left >= self.edge_needed - SLACK_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternCase:
    """One position whose rods are not where the plan has them. Lengths in mm.

    `overrun_as_drawn` is that of the plate at its planned place, `overrun` that of
    the best place within `line_limit` of it, reached by `shift` and `turn`. `slot` is
    None where slotting is out of the question before its figures are.
    """

    style: LengthStyle
    worst_miss: float
    line_limit: float
    re_anchor_beyond: float
    overrun_as_drawn: float
    overrun: float
    shift: tuple[float, float]
    turn: float
    ream: Opening
    slot: Opening | None
    re_anchor: Mapping[str, Any]


def advise_pattern(
    case: PatternCase, again: Remedy | None, moves: Sequence[Remedy] = ()
) -> Advice:
    """Rods out of place: what lets the plate go on, least intrusive first.

    Parameters
    ----------
    case : the figures of the position.
    again : the remedy to measure again, where there is a reason to.
    moves : moves of more steel than this position's, always alternatives.
    """
    found: list[Remedy] = [] if again is None else [again]
    out: list[tuple[str, str]] = []
    for step in (_shift, _ream, _slot, _re_anchor):
        answer = step(case)
        if isinstance(answer, Remedy):
            found.append(answer)
        else:
            out.append(answer)
    found.extend(moves)
    found.append(
        refer("Something else the engineer prefers: the rods are as measured.")
    )
    return Advice(remedies=ranked(found), ruled_out=tuple(out))


def _shift(case: PatternCase) -> Remedy | tuple[str, str]:
    """The plate as punched, at its place or moved within the line tolerance."""
    limit = format_length(case.line_limit, case.style)
    if case.overrun > SLACK_MM:
        short = format_length(case.overrun, case.style, 64)
        return (
            "shift",
            f"Even moved by up to {limit} each way, the line tolerance, the plate"
            f" misses by {short}.",
        )
    if case.overrun_as_drawn <= SLACK_MM:
        shift, turn, how = (0.0, 0.0), 0.0, "as drawn"
    else:
        along, inward = (format_length(v, case.style, 32) for v in case.shift)
        shift, turn = case.shift, case.turn
        how = f"moved {along} along and {inward} in, within the line tolerance {limit}"
    return Remedy(
        remedy="shift",
        approval="field",
        reason=f"The plate goes over the rods as punched, set {how}.",
        cautions=(cautions.SCREENING, cautions.NOTICES),
        figures={"shift_along": shift[0], "shift_in": shift[1], "turn": turn},
    )


def _too_far(case: PatternCase) -> str | None:
    """Why neither reaming nor slotting is sensible, if so."""
    if case.worst_miss <= case.re_anchor_beyond + SLACK_MM:
        return None
    miss = format_length(case.worst_miss, case.style)
    beyond = format_length(case.re_anchor_beyond, case.style)
    return (
        f"A rod is {miss} from the plan, more than {beyond}, beyond which cutting and"
        " re-anchoring is usually easier (common practice)."
    )


def _edge(opening: Opening, style: LengthStyle) -> str:
    """The edge distance after opening, against AISC 360 Table J3.4."""
    if opening.edge_left != opening.edge_left:
        return "The detail gives no edge distance, so the plate's edge cannot be shown."
    left = format_length(opening.edge_left, style, 32)
    needed = format_length(opening.edge_needed, style, 32)
    word = "at least" if opening.edge_allows else "less than"
    return (
        f"The edge left, {left}, is {word} the {needed} of AISC 360 Table J3.4"
        " (secondary source)."
    )


def _ream(case: PatternCase) -> Remedy | tuple[str, str]:
    """One larger diameter for every hole."""
    far = _too_far(case)
    if far:
        return ("ream", far)
    if case.overrun <= SLACK_MM:
        return ("ream", "The plate goes over the rods without it.")
    if not case.ream.edge_allows:
        return ("ream", _edge(case.ream, case.style))
    diameter = format_length(case.ream.hole_diameter, case.style, 32)
    return Remedy(
        remedy="ream",
        approval="engineer",
        reason=(
            f"All holes opened to {diameter} let the plate on."
            f" {_edge(case.ream, case.style)}"
        ),
        cautions=(cautions.SCREENING, cautions.WASHER, cautions.NOTICES),
        figures={
            "hole_diameter": case.ream.hole_diameter,
            "shift_along": case.shift[0],
            "shift_in": case.shift[1],
            "turn": case.turn,
            "edge_left": case.ream.edge_left,
            "edge_needed": case.ream.edge_needed,
            "washer": case.ream.washer,
        },
    )


def _slot(case: PatternCase) -> Remedy | tuple[str, str]:
    """Only the offending holes, each in the direction its rod lies."""
    far = _too_far(case)
    if far:
        return ("slot", far)
    if case.overrun <= SLACK_MM:
        return ("slot", "The plate goes over the rods without it.")
    if case.slot is None or not case.slot.slots:
        return ("slot", "No slot of the offending holes lets the plate on.")
    if not case.slot.edge_allows:
        return ("slot", _edge(case.slot, case.style))
    holes = ", ".join(
        f"rod {slot['rod']} by {format_length(slot['extension'], case.style, 32)}"
        for slot in case.slot.slots
    )
    return Remedy(
        remedy="slot",
        approval="engineer",
        reason=(
            f"Slotting only the offending holes lets the plate on: {holes}."
            f" {_edge(case.slot, case.style)}"
        ),
        cautions=(cautions.SCREENING, cautions.WASHER, cautions.NOTICES),
        figures={
            "slots": [dict(slot) for slot in case.slot.slots],
            "shift_along": case.slot.shift[0],
            "shift_in": case.slot.shift[1],
            "turn": case.slot.turn,
            "edge_left": case.slot.edge_left,
            "edge_needed": case.slot.edge_needed,
            "washer": case.slot.washer,
        },
    )


def _re_anchor(case: PatternCase) -> Remedy | tuple[str, str]:
    """Cut the rod off and set another, screened by ACI 318-19 chapter 17."""
    if case.overrun <= SLACK_MM:
        return ("re_anchor", "The plate goes over the rods as they stand.")
    far = _too_far(case)
    slot_allows = case.slot is not None and case.slot.edge_allows
    no_edge = not (case.ream.edge_allows or slot_allows)
    if far:
        reason = far
    elif no_edge:
        reason = "Opening the holes would leave too little edge on the plate."
    else:
        reason = "A replacement rod in the planned place."
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
        figures=dict(case.re_anchor),
    )
