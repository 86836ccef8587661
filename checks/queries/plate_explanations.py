"""Explanations of the remedies of a base plate: shift, holes, slots, re-anchoring."""

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
from jobs.exchange.result.findings import RemedyResult, ScreenedRodResult


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
    """Explain the diameter that all holes are enlarged to."""
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
    edge, left = detail.plate.edge_distance, remedy.get("edge_left")
    if edge is not None and left is not None:
        yield build_step(
            "Edge left: ", edge, f" {MINUS} (", needed, f" {MINUS} ", hole, ") ÷ 2 = ",
            left, ".",
        )  # fmt: skip
    yield from _explain_edge(remedy)


def explain_slot(remedy: RemedyResult, context: RemedyContext) -> Iterator[Step]:
    """Explain the length and the direction of each slot."""
    yield from _explain_clearance(context)
    yield from _explain_placement(remedy, context)
    for slot in remedy["slots"]:
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
    yield build_step(
        "Plate moved by at most the line tolerance, ",
        context.get_limit("line"),
        " along and in: ",
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
