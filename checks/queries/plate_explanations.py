"""Explanations of the remedies of a base plate: shift, holes, slots, re-anchoring."""

import math
from collections.abc import Iterator, Mapping

from checks.engine.conformity import SLACK_MM
from checks.queries.remedy_steps import (
    RemedyContext,
    Step,
    StepPart,
    build_step,
    describe_rotation,
)
from core.formatting import MINUS, TIMES, format_direction
from jobs.exchange.result.findings import RemedyResult, ScreenedRodResult, SlotResult


def explain_shift(remedy: RemedyResult, context: RemedyContext) -> Iterator[Step]:
    """Explain a shift of the plate, or a move of the steel."""
    if "scope" in remedy:
        yield build_step(
            "Steel moved as one: ",
            remedy["shift_x"],
            " right, ",
            remedy["shift_y"],
            f" up, rotated {describe_rotation(remedy.get('turn'))}.",
        )
        return
    yield from _explain_clearance(context)
    yield from _explain_placement(remedy, context)
    yield build_step("There every rod is inside the clearance of its hole.")


def explain_ream(remedy: RemedyResult, context: RemedyContext) -> Iterator[Step]:
    """Explain the diameter that all holes are enlarged to, of one plate or several."""
    if "open" in remedy:
        yield from _explain_opened_plates(remedy)
        return
    yield from _explain_clearance(context)
    yield from _explain_placement(remedy, context)
    detail, needed = context.detail, remedy.get("hole_diameter")
    if detail is None or detail.plate is None or needed is None:
        return
    hole = detail.plate.hole_diameter
    over = (needed - hole) / 2
    yield build_step("There the worst rod exceeds its clearance by ", over, ".")
    yield build_step(
        "Hole needed, the same for all: ", hole, f" + 2 {TIMES} ", over, " = ", needed,
        ".",
    )  # fmt: skip
    # Remedies stored before sizes were rounded to the shop's have the exact need alone.
    ordered = remedy.get("ordered_diameter") or needed
    if "ordered_diameter" in remedy:
        yield build_step("Ordered, rounded up to what a shop makes: ", ordered, ".")
    edge, left = detail.plate.edge_distance, remedy.get("edge_left")
    if edge is not None and left is not None:
        yield build_step(
            "Edge left: ", edge, f" {MINUS} (", ordered, f" {MINUS} ", hole, ") ÷ 2 = ",
            left, ".",
        )  # fmt: skip
    yield from _explain_edge(remedy)


def _explain_opened_plates(remedy: RemedyResult) -> Iterator[Step]:
    yield build_step(
        "The smallest openings of few plates with which every column stands on its line"
        " and every bay and frame keeps its length:"
    )
    for plate in remedy["open"]:
        yield build_step(
            f"{plate['mark']}: needed ",
            plate["exact"],
            ", ordered ",
            plate["hole"],
            ", rounded up to what a shop makes.",
        )


def explain_slot(remedy: RemedyResult, context: RemedyContext) -> Iterator[Step]:
    """Explain the axis and the length of each slot, exact and as ordered."""
    yield from _explain_clearance(context)
    yield from _explain_placement(remedy, context)
    for slot in remedy["slots"]:
        if "axis" in slot:
            yield from _explain_ordered_slot(slot)
            continue
        # Stored before slots were kept to the axes of the plate.
        direction = format_direction(slot["direction"] or 0.0)
        yield build_step(
            f"Hole {slot['rod']}: ",
            slot.get("width"),
            " as punched + ",
            slot["extension"],
            " = a slot ",
            slot.get("length"),
            f" long, towards {direction} from along, counter-clockwise.",
        )
    yield from _explain_edge(remedy)


def _explain_ordered_slot(slot: SlotResult) -> Iterator[Step]:
    """Explain one slot along an axis of the plate, as a shop makes it."""
    way = SLOT_DIRECTIONS[slot["axis"]][_points_ahead(slot)]
    yield build_step(
        f"Hole {slot['rod']}, exact need: ",
        slot.get("width"),
        " as punched + ",
        slot["extension"],
        " = ",
        slot.get("exact_length"),
        f", {way}.",
    )
    yield build_step(
        f"Hole {slot['rod']}, ordered: with ",
        slot.get("behind"),
        " of clearance at each end, rounded up to what a shop makes, a slot ",
        slot.get("length"),
        " long: ",
        slot.get("ahead"),
        " beyond the hole on that side, ",
        slot.get("behind"),
        " on the other.",
    )


SLOT_DIRECTIONS = {
    "along": ("along, backward", "along, forward"),
    "in": ("outward", "inward"),
}
"""Sides of a slot by its axis: against it, and with it."""


def _points_ahead(slot: SlotResult) -> bool:
    """Return True for a slot that reaches with its axis, not against it."""
    direction = slot["direction"] or 0.0
    return math.cos(direction) + math.sin(direction) > 0.0


def explain_new_plate(remedy: RemedyResult, context: RemedyContext) -> Iterator[Step]:
    """Explain the layout of a new plate: holes, rounding, edges, size, spacing."""
    plate = remedy["plate"]
    yield from _explain_clearance(context)
    yield build_step(
        "The column stands at its planned place, so every hole stands at its rod. The"
        " plate's first corner: ",
        plate["corner_along"],
        " from the reference line, ",
        plate["corner_in"],
        " from the steel line.",
    )
    worst = min(plate["holes"], key=lambda hole: hole["clearance_left"] or 0.0)
    yield build_step(
        f"Hole {worst['rod']} from that corner: ", worst["exact_x"], " and ",
        worst["exact_y"], ", laid out to ", plate["increment"], " as ", worst["x"],
        " and ", worst["y"], ". Of its clearance, the rounding leaves ",
        worst["clearance_left"], ", the least of all.",
    )  # fmt: skip
    for grown in plate["growth"]:
        yield build_step(
            f"The {grown['side']} edge moves outward by ", grown["by"], "."
        )
    yield build_step("Plate: ", plate["width"], " by ", plate["depth"], ".")
    yield from _explain_edge(remedy)
    if plate["spacing"] is not None:
        yield build_step(
            "Holes nearest to each other: ",
            plate["spacing"],
            ", at least the ",
            plate["spacing_needed"],
            " of AISC 360 J3.3, 2 2/3 diameters (secondary source).",
        )


def explain_re_anchor(remedy: RemedyResult, context: RemedyContext) -> Iterator[Step]:
    """Explain the screen of the replacement rods."""
    if heading := remedy.get("heading"):
        yield build_step(heading)
    for rod in list_screened_rods(remedy):
        yield build_step(
            f"Rod {rod['rod']} is ",
            rod["miss"],
            " from the plan; the replacement, ",
            rod.get("diameter"),
            ", embedded ",
            rod.get("embedment"),
            ".",
        )
        for label, newtons in _list_strengths(rod):
            force = StepPart(value=newtons, unit="N")
            yield build_step(f"Rod {rod['rod']}, {label}: ", force, ".")
    for assumption in remedy.get("assumptions", ()):
        yield build_step(f"Assumed: {assumption.rstrip('.')}.")


def list_screened_rods(remedy: RemedyResult) -> list[ScreenedRodResult]:
    """List the rods of a remedy that come with a screen of their replacement."""
    return [rod for rod in remedy.get("rods") or () if isinstance(rod, Mapping)]


def _list_strengths(rod: ScreenedRodResult) -> list[tuple[str, float]]:
    strengths = rod.get("strengths") or {}
    labelled = (
        ("basic breakout, ACI 318-19 17.6.2", strengths.get("breakout_n")),
        ("basic breakout at its edge distance", strengths.get("breakout_at_edge_n")),
        (
            "basic bond, ACI 318-19 17.6.5, default stresses of the table",
            strengths.get("bond_n"),
        ),
        ("steel of the rod", strengths.get("steel_n")),
    )
    return [(label, newtons) for label, newtons in labelled if newtons is not None]


def _explain_placement(remedy: RemedyResult, context: RemedyContext) -> Iterator[Step]:
    """Explain where the plate lies, within the line tolerance."""
    turn = math.degrees(context.get_limit("column_turn"))
    allowed = "" if math.isnan(turn) else f", turned by at most {turn:.2g}°"
    yield build_step(
        "Plate moved by at most the line tolerance, ",
        context.get_limit("line"),
        f" along and in{allowed}: ",
        remedy.get("shift_along"),
        " along, ",
        remedy.get("shift_in"),
        f" in, rotated {describe_rotation(remedy.get('turn'))}.",
    )


def _explain_clearance(context: RemedyContext) -> Iterator[Step]:
    detail = context.detail
    if detail is None or detail.plate is None:
        return
    hole = detail.plate.hole_diameter
    for diameter in sorted({rod.diameter for rod in detail.rods}):
        yield build_step(
            "Clearance round a rod as punched: (hole ",
            hole,
            f" {MINUS} rod ",
            diameter,
            ") ÷ 2 = ",
            (hole - diameter) / 2,
            ".",
        )


def _explain_edge(remedy: RemedyResult) -> Iterator[Step]:
    left, needed = remedy.get("edge_left"), remedy.get("edge_needed")
    if left is not None and needed is not None:
        comparison = "at least" if left >= needed - SLACK_MM else "less than"
        yield build_step(
            "Edge left where it is least: ",
            left,
            f", {comparison} the ",
            needed,
            " of AISC 360 Table J3.4 (secondary source).",
        )
    washer = remedy.get("washer")
    if washer:
        yield build_step(
            "Plate washer that covers it: ",
            washer["size"],
            " square, ",
            washer["thickness"],
            f" thick ({washer['source']}).",
        )
    if remedy.get("thread_left") is not None:
        yield build_step(
            f"Thread left above the nut where it is least: projection {MINUS} shim"
            f" {MINUS} plate {MINUS} this plate washer {MINUS} nut at its thickest = ",
            remedy["thread_left"],
            ".",
        )
