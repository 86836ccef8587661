"""Remedies for rods out of place: shift, ream, slot, re-anchor, in this order.

A new plate is inserted by the state of the steel (`new_plate.py`). The order is common
practice. The rules behind each step are named in its reason.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import degrees
from typing import Any

from checks.engine import cautions
from checks.engine.conformity import SLACK_MM
from checks.engine.new_plate import NewPlate
from checks.engine.remedies.new_plate import insert_new_plate, propose_new_plate
from checks.engine.remedies.remedy import (
    Advice,
    Remedy,
    format_rounded_down,
    format_rounded_up,
    rank_remedies,
    refer_to_engineer,
)
from checks.engine.remedies.replacement import (
    explain_failed_screen,
    explain_too_far,
    propose_replacement_rod,
)
from checks.engine.remedies.rotation import describe_rotation, describe_seat
from core.units import LengthStyle, format_length
from core.vocabulary import Approval, RemedyKind, SteelState

MOVE_BEFORE_POUR = "Before the pour the rods can still be moved to the plan."


@dataclass(frozen=True, slots=True, kw_only=True)
class HoleOpening:
    """Holes to open, and the edge distance that remains.

    `hole_diameter` is the exact need, `ordered_diameter` what a shop makes. `edge_left`
    and `edge_needed` in mm; NaN where the detail gives no edge distance.
    `thread_left` is the least thread above a nut on the plate washer, in mm, negative
    where it is short and NaN where it is not known. With slots, `shift` and `rotation`
    are the placement of the plate.
    """

    edge_left: float
    edge_needed: float
    washer: Mapping[str, Any] | None
    thread_left: float = float("nan")
    hole_diameter: float = float("nan")
    ordered_diameter: float = float("nan")
    slots: tuple[Mapping[str, Any], ...] = ()
    shift: tuple[float, float] = (0.0, 0.0)
    rotation: float = 0.0

    @property
    def edge_known(self) -> bool:
        """True if the detail gives an edge distance."""
        return self.edge_left == self.edge_left

    @property
    def edge_allows(self) -> bool:
        """True if enough edge is left; False where it is not known."""
        return self.edge_left >= self.edge_needed - SLACK_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternCase:
    """One position whose rods are out of place. Lengths in mm, angles in rad.

    `interference_as_drawn` is that of the plate at its planned place, `interference`
    that of the best placement within `line_limit` and `turn_limit` of it, reached by
    `shift` and `rotation`; `free_interference` that of the best placement anywhere,
    with `free_shift` and `free_rotation`. `slot` is None where slotting is excluded
    before it is computed.
    `before_pour`: the rods can still be moved, so no hole is opened and no rod cut.
    """

    style: LengthStyle
    worst_position_error: float
    line_limit: float
    turn_limit: float
    reanchor_beyond: float
    interference_as_drawn: float
    interference: float
    shift: tuple[float, float]
    rotation: float
    free_interference: float
    free_shift: tuple[float, float]
    free_rotation: float
    ream: HoleOpening
    slot: HoleOpening | None
    reanchor: Mapping[str, Any]
    before_pour: bool = False
    new_plate: NewPlate | None = None
    steel: SteelState = SteelState.FABRICATED


def advise_pattern(
    case: PatternCase, remeasure: Remedy | None, moves: Sequence[Remedy] = ()
) -> Advice:
    """Propose remedies that let the plate go on, the least intrusive first.

    Parameters
    ----------
    case : PatternCase
        Quantities of the position.
    remeasure : Remedy or None
        The remedy to measure again, where there is a reason for it.
    moves : sequence of Remedy
        Shifts of more steel than this position's, always alternatives.
    """
    remedies: list[Remedy] = [] if remeasure is None else [remeasure]
    ruled_out: list[tuple[RemedyKind, str]] = []
    for step in (
        _propose_shift,
        _propose_larger_holes,
        _propose_slots,
        _propose_replacement,
    ):
        answer = step(case)
        if isinstance(answer, Remedy):
            remedies.append(answer)
        else:
            ruled_out.append(answer)
    remedies.extend(moves)
    remedies.append(_propose_referral(case))
    new_plate = _propose_new_plate(case)
    if isinstance(new_plate, Remedy):
        remedies = insert_new_plate(remedies, new_plate, case.steel)
    elif new_plate is not None:
        ruled_out.append(new_plate)
    remedies = _explain_turned_plate(case, remedies)
    return Advice(remedies=rank_remedies(remedies), ruled_out=tuple(ruled_out))


def _explain_turned_plate(case: PatternCase, remedies: list[Remedy]) -> list[Remedy]:
    """Add to the first cure why a plate that goes on turned is not left so.

    Every rod may be within: nothing else on the finding tells what is wrong.
    """
    turned = abs(case.free_rotation) > case.turn_limit
    fits_turned = case.free_interference <= SLACK_MM and turned
    if case.before_pour or case.interference <= SLACK_MM or not fits_turned:
        return remedies
    first = next(
        i for i, each in enumerate(remedies) if each.kind != RemedyKind.REMEASURE
    )
    reason = f"{_explain_misfit(case)} {remedies[first].reason}"
    cure = replace(remedies[first], reason=reason)
    return [*remedies[:first], cure, *remedies[first + 1 :]]


def _propose_new_plate(case: PatternCase) -> Remedy | tuple[RemedyKind, str] | None:
    """Propose a plate punched to the rods; None where none was laid out."""
    if case.new_plate is None:
        return None
    if case.interference <= SLACK_MM:
        return (RemedyKind.NEW_PLATE, "The plate fits without it.")
    if case.before_pour:
        return (RemedyKind.NEW_PLATE, MOVE_BEFORE_POUR)
    return propose_new_plate(
        case.new_plate, case.steel, case.style, max_eccentricity_mm=case.reanchor_beyond
    )


def _propose_referral(case: PatternCase) -> Remedy:
    """Leave the rods to the engineer; name a missing edge distance if that decides."""
    if case.interference > SLACK_MM and not case.before_pour:
        failed = explain_failed_screen(case.reanchor, case.style)
        too_far = _explain_too_far(case)
        if failed and too_far:
            # The engineer sees the whole screen that the replacement failed.
            return refer_to_engineer(
                f"{too_far} {failed} The engineer decides.", **case.reanchor
            )
    if (
        case.interference <= SLACK_MM
        or _explain_no_opening(case)
        or case.ream.edge_known
    ):
        return refer_to_engineer(
            "Other: the engineer describes it. The rods are as measured."
        )
    diameter = format_length(case.ream.ordered_diameter, case.style)
    return refer_to_engineer(
        f"With all holes enlarged to {diameter} the plate would fit, but the detail"
        " gives no edge distance to check that against. The plate's drawing has it.",
        hole_diameter=case.ream.hole_diameter,
        ordered_diameter=case.ream.ordered_diameter,
        edge_needed=case.ream.edge_needed,
    )


def _propose_shift(case: PatternCase) -> Remedy | tuple[RemedyKind, str]:
    """Propose the plate as punched, in place or shifted within the line tolerance."""
    limit = format_length(case.line_limit, case.style)
    if case.interference > SLACK_MM:
        return (RemedyKind.SHIFT, _explain_misfit(case))
    if case.interference_as_drawn <= SLACK_MM:
        shift, rotation, how = (0.0, 0.0), 0.0, "as drawn"
    else:
        shift, rotation = case.shift, case.rotation
        along = format_length(shift[0], case.style, 32)
        inward = format_length(abs(shift[1]), case.style, 32)
        way = "inward" if shift[1] >= 0.0 else "outward"
        how = (
            f"shifted {along} along and {inward} {way}, within the line tolerance"
            f" {limit}{describe_seat(rotation)}"
        )
    return Remedy(
        kind=RemedyKind.SHIFT,
        approval=Approval.FIELD,
        reason=f"The plate fits over the rods as punched, set {how}.",
        cautions=(cautions.SCREENING, cautions.NOTICES),
        quantities={"shift_along": shift[0], "shift_in": shift[1], "turn": rotation},
        why_second=MOVE_BEFORE_POUR if case.before_pour else None,
    )


def _explain_misfit(case: PatternCase) -> str:
    """Explain why the plate does not go on as punched."""
    limit = format_length(case.line_limit, case.style)
    allowed = f"shifted by {limit} either way and turned by"
    allowed = f"{allowed} {degrees(case.turn_limit):.2g}°"
    if case.free_interference <= SLACK_MM:
        return (
            f"The plate fits as punched only when {_describe_free_placement(case)}. A"
            f" column may be {allowed}."
        )
    short = format_rounded_up(case.interference, case.style, 64)
    return f"Even {allowed}, the most a column may be, the plate misses by {short}."


def _describe_free_placement(case: PatternCase) -> str:
    """Describe where the plate goes on, by what is beyond a limit."""
    parts = []
    if abs(case.free_rotation) > case.turn_limit:
        parts.append(describe_rotation(case.free_rotation, decimals=2))
    along, inward = (abs(shift) for shift in case.free_shift)
    if max(along, inward) > case.line_limit:
        along_text, in_text = (
            format_rounded_up(mm, case.style, 64) for mm in (along, inward)
        )
        parts.append(f"shifted {along_text} along and {in_text} in")
    return " and ".join(parts)


def _explain_too_far(case: PatternCase) -> str | None:
    """Explain why neither enlarging nor slotting holes is sensible, if so."""
    return explain_too_far(case.worst_position_error, case.reanchor_beyond, case.style)


def _explain_no_opening(case: PatternCase) -> str | None:
    """Explain why no hole is opened at all, if so."""
    return MOVE_BEFORE_POUR if case.before_pour else _explain_too_far(case)


def _describe_edge(opening: HoleOpening, style: LengthStyle) -> str:
    """Compare the edge distance after opening with AISC 360 Table J3.4, in words."""
    if not opening.edge_known:
        return (
            "The detail gives no edge distance, so the plate's edge cannot be checked."
        )
    left = format_rounded_down(opening.edge_left, style)
    needed = format_length(opening.edge_needed, style, 32)
    word = "at least" if opening.edge_allows else "less than"
    return (
        f"The remaining edge distance, {left}, is {word} the {needed} of AISC 360"
        " Table J3.4 (seen second-hand)."
    )


def _describe_thread(opening: HoleOpening, style: LengthStyle) -> str:
    """Describe the thread that a nut lacks on the plate washer, if any."""
    if not opening.thread_left < -SLACK_MM:
        return ""
    missing = format_rounded_up(-opening.thread_left, style)
    return (
        f" Under this plate washer a nut lacks {missing} of thread: the engineer"
        " chooses a thinner one or lengthens the rod."
    )


def _thread_quantities(opening: HoleOpening) -> dict[str, float]:
    """Return the thread left under the plate washer, where it is known."""
    known = opening.thread_left == opening.thread_left
    return {"thread_left": opening.thread_left} if known else {}


def _propose_larger_holes(case: PatternCase) -> Remedy | tuple[RemedyKind, str]:
    """Propose one larger diameter for every hole."""
    too_far = _explain_no_opening(case)
    if too_far:
        return (RemedyKind.REAM, too_far)
    if case.interference <= SLACK_MM:
        return (RemedyKind.REAM, "The plate fits without it.")
    if not case.ream.edge_allows:
        return (RemedyKind.REAM, _describe_edge(case.ream, case.style))
    diameter = format_length(case.ream.ordered_diameter, case.style)
    exact = format_rounded_up(case.ream.hole_diameter, case.style, 64)
    return Remedy(
        kind=RemedyKind.REAM,
        approval=Approval.ENGINEER,
        reason=(
            f"With all holes enlarged to {diameter} (exact need {exact}) the plate"
            f" fits{describe_seat(case.rotation)}."
            f" {_describe_edge(case.ream, case.style)}"
            f"{_describe_thread(case.ream, case.style)}"
        ),
        cautions=(cautions.SCREENING, cautions.WASHER, cautions.NOTICES),
        quantities={
            "hole_diameter": case.ream.hole_diameter,
            "ordered_diameter": case.ream.ordered_diameter,
            "shift_along": case.shift[0],
            "shift_in": case.shift[1],
            "turn": case.rotation,
            "edge_left": case.ream.edge_left,
            "edge_needed": case.ream.edge_needed,
            "washer": case.ream.washer,
            **_thread_quantities(case.ream),
        },
    )


def _propose_slots(case: PatternCase) -> Remedy | tuple[RemedyKind, str]:
    """Propose slots for the fewest holes, each along one of the plate's axes."""
    too_far = _explain_no_opening(case)
    if too_far:
        return (RemedyKind.SLOT, too_far)
    if case.interference <= SLACK_MM:
        return (RemedyKind.SLOT, "The plate fits without it.")
    if case.slot is None or not case.slot.slots:
        return (
            RemedyKind.SLOT,
            "No set of slots along the plate's axes lets the plate fit.",
        )
    if not case.slot.edge_allows:
        return (RemedyKind.SLOT, _describe_edge(case.slot, case.style))
    holes = "; ".join(_describe_slot(slot, case.style) for slot in case.slot.slots)
    return Remedy(
        kind=RemedyKind.SLOT,
        approval=Approval.ENGINEER,
        reason=(
            "The plate fits with these holes"
            f" slotted{describe_seat(case.slot.rotation)}: {holes}. Lengths include"
            " clearance at both ends."
            f" {_describe_edge(case.slot, case.style)}"
            f"{_describe_thread(case.slot, case.style)}"
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
            **_thread_quantities(case.slot),
        },
    )


def _describe_slot(slot: Mapping[str, Any], style: LengthStyle) -> str:
    """Describe a slot as ordered, its exact need beside it."""
    length = format_length(slot["length"], style)
    exact = format_rounded_up(slot["exact_length"], style, 64)
    way = "along" if slot["axis"] == "along" else "inward"
    return f"rod {slot['rod']} {way}, {length} long (exact need {exact})"


def _propose_replacement(case: PatternCase) -> Remedy | tuple[RemedyKind, str]:
    """Propose a replacement rod, screened by ACI 318-19 chapter 17."""
    if case.interference <= SLACK_MM:
        return (RemedyKind.RE_ANCHOR, "The plate fits over the rods as they stand.")
    if case.before_pour:
        return (RemedyKind.RE_ANCHOR, MOVE_BEFORE_POUR)
    failed = explain_failed_screen(case.reanchor, case.style)
    if failed:
        return (RemedyKind.RE_ANCHOR, failed)
    too_far = _explain_too_far(case)
    if not too_far and not case.ream.edge_known:
        return (
            RemedyKind.RE_ANCHOR,
            f"{_describe_edge(case.ream, case.style)} Find it first.",
        )
    slot_allows = case.slot is not None and case.slot.edge_allows
    no_edge = not (case.ream.edge_allows or slot_allows)
    if too_far:
        reason = too_far
    elif no_edge:
        reason = "Opening the holes would leave too little edge on the plate."
    else:
        reason = "A replacement rod stands where the plan has it."
    return propose_replacement_rod(reason, case.reanchor)
