"""The remedy of a base plate punched to the rods as built, and its place in the order.

While the steel is being detailed, such a plate comes right after shifting the plate as
drawn: it keeps round holes of the detail's size with their usual washers, and nothing
that exists is changed. Once plates are made, opening their holes comes first; once the
steel has shipped, a new plate is only an alternative. The order is common practice.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import floor
from typing import Any

import numpy as np

from checks.engine import cautions
from checks.engine.conformity import SLACK_MM
from checks.engine.constants import INCH_MM
from checks.engine.new_plate import SIDES, NewPlate
from checks.engine.remedies.remedy import Remedy
from core.units import LengthStyle, format_length
from core.vocabulary import Approval, RemedyKind, SteelState

WHY_SECOND = {
    SteelState.DETAILING: "It is made to the rods as read: the readings come first.",
    SteelState.FABRICATED: "The plates are made: the remedies before it keep them.",
    SteelState.SHIPPED: "The steel has shipped: the plate would have to be replaced on"
    " the column away from the shop, or the column go back.",
}
PLATE_NOT_MADE = (
    "The plate is not made yet: one punched to the rods keeps round holes of the"
    " detail's size and their usual washers."
)
OPENED_HOLES = (RemedyKind.REAM, RemedyKind.SLOT)
FINE_FRACTION = 64  # of an inch: what is left of a clearance is a small amount


def propose_new_plate(
    plate: NewPlate,
    steel: SteelState,
    style: LengthStyle,
    *,
    max_eccentricity_mm: float,
) -> Remedy | tuple[RemedyKind, str]:
    """Propose a plate punched to the rods, or explain why none can be.

    Parameters
    ----------
    plate : NewPlate
        The plate, laid out. [mm]
    steel : SteelState
        How far the steel is: the reason of an alternative depends on it.
    style : LengthStyle
        How lengths are written.
    max_eccentricity_mm : float
        How far the middle of the rods may stand from the middle of the planned ones.
        Beyond it the column would stand off its rods, which is a design and no plate
        punched to rods; the limit beyond which re-anchoring is easier serves as bound
        (project choice). [mm]
    """
    reason = _explain_eccentricity(
        plate, max_eccentricity_mm, style
    ) or _explain_refusal(plate, steel, style)
    if reason:
        return (RemedyKind.NEW_PLATE, reason)
    return Remedy(
        kind=RemedyKind.NEW_PLATE,
        approval=Approval.ENGINEER,
        reason=" ".join(_describe_plate(plate, style)),
        cautions=(
            cautions.SCREENING,
            cautions.NEW_PLATE,
            cautions.ECCENTRIC_RODS,
            *([cautions.PLATE_GROWTH] if plate.growth.any() else []),
            cautions.NOTICES,
        ),
        quantities=_list_quantities(plate),
        why_second=WHY_SECOND[steel],
    )


def insert_new_plate(
    remedies: Sequence[Remedy], new_plate: Remedy, steel: SteelState
) -> list[Remedy]:
    """Insert the new plate where it belongs by the state of the steel.

    Parameters
    ----------
    remedies : sequence of Remedy
        In their order, the engineer's own remedy last. At most measuring again and
        the shift of the plate precede what changes a plate or a rod.
    new_plate : Remedy
        The new plate.
    steel : SteelState
        How far the steel is.
    """
    before: tuple[RemedyKind, ...] = (RemedyKind.REMEASURE, RemedyKind.SHIFT)
    if steel is not SteelState.DETAILING:
        before += OPENED_HOLES
    if steel is SteelState.SHIPPED:
        # Only an alternative: where nothing else is computed, the engineer's own
        # remedy is the proposal.
        last = len(remedies) if _is_nothing_computed(remedies) else len(remedies) - 1
        return [*remedies[:last], new_plate, *remedies[last:]]
    place = next(
        index
        for index, remedy in enumerate(remedies)
        if remedy.kind not in before or _moves_more_steel(remedy)
    )
    after = list(remedies[place:])
    if steel is SteelState.DETAILING:
        after = [
            replace(remedy, why_second=PLATE_NOT_MADE)
            if remedy.kind in OPENED_HOLES
            else remedy
            for remedy in after
        ]
    return [*remedies[:place], new_plate, *after]


def _moves_more_steel(remedy: Remedy) -> bool:
    """Check for a move of a frame line or all the steel, always an alternative."""
    return remedy.kind is RemedyKind.SHIFT and "scope" in remedy.quantities


def _is_nothing_computed(remedies: Sequence[Remedy]) -> bool:
    """Check that only measuring again and the engineer's own remedy are there."""
    return all(
        remedy.kind in (RemedyKind.REMEASURE, RemedyKind.REFER)
        or _moves_more_steel(remedy)
        for remedy in remedies
    )


def _explain_eccentricity(plate: NewPlate, most_mm: float, style: LengthStyle) -> str:
    """Explain that the rods stand too far off the column; empty if they do not."""
    off = float(np.hypot(*plate.eccentricity))
    if off <= most_mm + SLACK_MM:
        return ""
    return (
        f"The middle of the rods is {format_length(off, style, 32)} from the column's"
        f" place. Beyond {format_length(most_mm, style)} the column would stand off its"
        " rods: that is a new design, not a plate punched to them (project choice)."
    )


def _explain_refusal(plate: NewPlate, steel: SteelState, style: LengthStyle) -> str:
    """Explain why no plate can be punched to these rods; empty if one can."""
    if not plate.edges_known and steel is not SteelState.DETAILING:
        return (
            "The detail gives no edge distance, so the size of the plate is not known."
            " Find it on the plate's drawing first."
        )
    if plate.clearance.min() <= SLACK_MM:
        return "The detail's holes leave no clearance round their rods."
    if plate.spacing < plate.spacing_needed - SLACK_MM:
        apart = format_length(plate.spacing, style, FINE_FRACTION)
        needed = format_length(plate.spacing_needed, style, FINE_FRACTION)
        return (
            f"Two of its holes would be {apart} apart, less than the {needed} of"
            " AISC 360 J3.3, 2 2/3 diameters (seen second-hand)."
        )
    if not plate.spacing_allows:
        clear = format_length(max(plate.clear, 0.0), style, FINE_FRACTION)
        needed = format_length(plate.clear_needed, style, FINE_FRACTION)
        return (
            f"Only {clear} of plate would be left between two of its holes, less than"
            f" the {needed} of AISC 360 J3.3, one diameter (seen second-hand)."
        )
    return ""


def _describe_plate(plate: NewPlate, style: LengthStyle) -> list[str]:
    along, inward = (format_length(side, style, 32) for side in plate.size.tolist())
    left = _format_rounded_down(float(plate.clearance_left.min()), style)
    hole = format_length(plate.hole_diameter, style)
    step = format_length(plate.increment, style, FINE_FRACTION)
    sentences = [
        f"A new plate {along} by {inward}, its {hole} holes punched where the rods"
        " stand, goes over them with the column at its planned place. Laid out to"
        f" {step}, it leaves at least {left} round every rod."
    ]
    if not plate.edges_known:
        sentences.append(
            "The detail gives no edge distance: this is the least plate by AISC 360"
            " Table J3.4, and the plate's drawing governs."
        )
    elif plate.growth.any():
        grown = ", ".join(
            f"{format_length(by, style, 32)} {_SIDE_WORDS[side]}"
            for side, by in zip(SIDES, plate.growth.tolist(), strict=True)
            if by
        )
        sentences.append(
            f"It is larger than drawn by {grown}, to keep the edge distance of AISC 360"
            " Table J3.4 (seen second-hand)."
        )
    else:
        sentences.append(
            "Its size stays as drawn, and every hole keeps the edge distance of"
            " AISC 360 Table J3.4 (seen second-hand)."
        )
    sentences.append("Hole size and thickness, and so washers and thread, stay.")
    return sentences


_SIDE_WORDS = {
    "left": "on its left",
    "near": "outward",
    "right": "on its right",
    "far": "inward",
}


def _list_quantities(plate: NewPlate) -> Mapping[str, Any]:
    tightest = int(np.argmin(plate.edge_left - plate.edge_needed))
    return {
        "ordered_diameter": plate.hole_diameter,
        "edge_left": float(plate.edge_left[tightest]),
        "edge_needed": float(plate.edge_needed[tightest]),
        "plate": {
            "width": float(plate.size[0]),
            "depth": float(plate.size[1]),
            "thickness": _none_if_nan(plate.thickness),
            "size_known": plate.edges_known,
            "corner_along": float(plate.edges[0]),
            "corner_in": float(plate.edges[1]),
            "growth": [
                {"side": side, "by": by}
                for side, by in zip(SIDES, plate.growth.tolist(), strict=True)
                if by
            ],
            "increment": plate.increment,
            "clearance_left": float(plate.clearance_left.min()),
            "spacing": _none_if_nan(plate.spacing),
            "spacing_needed": _none_if_nan(plate.spacing_needed),
            "eccentricity_along": float(plate.eccentricity[0]),
            "eccentricity_in": float(plate.eccentricity[1]),
            "holes": _list_holes(plate),
        },
    }


def _list_holes(plate: NewPlate) -> list[dict[str, Any]]:
    return [
        {
            "rod": rod,
            "x": float(shop[0]),
            "y": float(shop[1]),
            "exact_x": float(exact[0]),
            "exact_y": float(exact[1]),
            "moved": float(moved),
            "clearance_left": float(left),
            "edge_left": float(edge),
        }
        for rod, (shop, exact, moved, left, edge) in enumerate(
            zip(
                plate.ordinates,
                plate.exact,
                plate.moved,
                plate.clearance_left,
                plate.edge_left,
                strict=True,
            ),
            start=1,
        )
    ]


def _format_rounded_down(mm: float, style: LengthStyle) -> str:
    """Write what is left of a clearance, never more than it is."""
    step = 0.1 if style == "metric" else INCH_MM / FINE_FRACTION
    return format_length(step * floor(mm / step + 1e-6), style, FINE_FRACTION)


def _none_if_nan(mm: float) -> float | None:
    return None if np.isnan(mm) else float(mm)
