"""The order in which remedies are proposed."""

import numpy as np

from checks.engine import cautions
from checks.engine.fasteners import min_edge_distance_mm
from checks.engine.plate_fit.plate import fit_plates, hole_needed_mm
from checks.engine.plate_fit.slots import (
    edge_after_reaming_mm,
    edge_after_slotting_mm,
    find_shortest_slots,
)
from checks.engine.remedies.pattern import HoleOpening, PatternCase, advise_pattern
from checks.engine.remedies.remedy import Advice
from checks.engine.sources import Provenance
from checks.labels import get_remedy_label
from checks.methods.mathml import render_formula
from checks.methods.model import (
    INCH_MM,
    Example,
    ExampleResult,
    ExampleValue,
    MethodDescription,
    MethodSource,
    describe_input,
    show_length,
    show_text,
    write_text,
)
from checks.methods.plates import CLEARANCE, EDGE, FOUR, HOLE, MOVE, ROD
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.values import ToleranceSpec


def _advised(off_mm: float) -> Advice:
    """What is advised where one rod of four stands off, outward along. [mm]"""
    rods = FOUR.copy()
    rods[0, 0] -= off_mm
    clearance, limit = np.full(4, CLEARANCE), np.full((1, 2), MOVE)
    held = fit_plates(FOUR[None], rods[None], clearance[None], None, limit)
    needed = float(hole_needed_mm(held, np.array([HOLE]))[0])
    cut = find_shortest_slots(FOUR, rods, clearance, limit[0])
    left = edge_after_slotting_mm(FOUR, cut.extension_mm, cut.direction_rad, EDGE)
    edge = min_edge_distance_mm(ROD)
    case = PatternCase(
        style="imperial",
        worst_position_error=off_mm,
        line_limit=MOVE,
        reanchor_beyond=resolve_limits(ToleranceSpec()).re_anchor_beyond(),
        interference_as_drawn=off_mm - CLEARANCE,
        interference=float(held.interference_mm[0]),
        shift=(float(held.shift_mm[0, 0]), float(held.shift_mm[0, 1])),
        rotation=float(held.rotation_rad[0]),
        ream=HoleOpening(
            edge_left=edge_after_reaming_mm(HOLE, needed, EDGE),
            edge_needed=edge,
            washer=None,
            hole_diameter=needed,
        ),
        slot=HoleOpening(
            edge_left=float(left.min()),
            edge_needed=edge,
            washer=None,
            slots=({"rod": 1, "extension": float(cut.extension_mm[0])},),
        ),
        reanchor={},
    )
    return advise_pattern(case, None)


def _order(advice: Advice) -> ExampleValue:
    return show_text("; ".join(get_remedy_label(each.kind) for each in advice.remedies))


def _named(*remedies: str) -> ExampleValue:
    return show_text("; ".join(get_remedy_label(each) for each in remedies))


def _ways_out() -> Example:
    offs = np.array([1.0, 8.0, 20.0]) * INCH_MM / 16.0
    within, near, far = (_advised(float(off)) for off in offs)
    gone = [remedy for remedy, _ in far.ruled_out]
    return Example(
        title="One rod of four off, by little, more and much",
        inputs=(
            describe_input(
                "Rods and holes", show_length(ROD), " and ", show_length(HOLE)
            ),
            describe_input("Hole's centre to the plate's edge", show_length(EDGE)),
            describe_input(
                "Rod 1 off, outward",
                show_length(offs[0]),
                "; ",
                show_length(offs[1]),
                "; ",
                show_length(offs[2]),
            ),
        ),
        steps=(
            write_text(
                "Off by no more than the clearance, ",
                show_length(CLEARANCE),
                ": the plate goes on as drawn.",
            ),
            write_text(
                show_length(offs[1]),
                ": larger holes do, and leave edge enough; slots do"
                " too, and come second.",
            ),
            write_text(
                show_length(offs[2]), " is beyond 1 in: neither reamed nor slotted."
            ),
        ),
        results=(
            ExampleResult("Little off", _order(within), _named("shift", "refer")),
            ExampleResult(
                "More off", _order(near), _named("ream", "slot", "re_anchor", "refer")
            ),
            ExampleResult("Much off", _order(far), _named("re_anchor", "refer")),
            ExampleResult(
                "Ruled out then", _named(*gone), _named("shift", "ream", "slot")
            ),
        ),
    )


METHODS = (
    MethodDescription(
        slug="order-of-remedies",
        name="Order of the remedies",
        summary="What is proposed first where concrete and steel disagree, and why.",
        engine=("remedies.remedy", "remedies.pattern", "remedies.level", "cautions"),
        formulas=(
            render_formula('"1. measure again, if in doubt"'),
            render_formula('"2. shift within the line tolerance"'),
            render_formula('"3. ream, if edge is left"'),
            render_formula('"4. slot, if edge is left"'),
            render_formula('"5. re-anchor"'),
            render_formula('"6. refer to the engineer"'),
        ),
        symbols=(),
        sources=(
            MethodSource(
                "the order, least intrusive first; beyond 1 in cutting and"
                " re-anchoring is usually easier than slotting",
                Provenance.COMMON_PRACTICE,
            ),
            MethodSource(
                "each step leans on the computations above, with their sources",
                Provenance.PROJECT_CHOICE,
            ),
        ),
        limits=(
            "In doubt: a likely cause, repeats that disagree, readings that contradict"
            " each other, a suspect reading.",
            "The first that is feasible is the proposal; the others keep the reason why"
            " they come second, or why they are ruled out.",
            "Everything after the shift needs the engineer, and so does every change"
            " to a rod.",
            "Neither the move of a shift nor its turn carries a hole beyond the line"
            " tolerance: a plate that goes on only turned further is not shifted.",
            "A plate that does not go on is a finding though every rod is within: a"
            " tolerance may be wider than the hole.",
            "Holes are opened only where the detail gives the edge distance; without it"
            " the engineer is asked for that first.",
            "Rods read before the concrete was placed are moved; no hole is opened.",
            "Pads: shim, lower the one high pad, refer. Projection: extend or refer."
            " Outline: square up, refer.",
        ),
        examples=(_ways_out,),
        cautions=(cautions.SCREENING, cautions.RODS, cautions.NOTICES),
    ),
)
