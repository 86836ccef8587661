"""The order in which remedies are proposed."""

import numpy as np

from checks.engine import cautions
from checks.engine.fasteners import least_edge_mm
from checks.engine.pattern_remedies import Opening, PatternCase, advise_pattern
from checks.engine.plate import fit_plates, hole_needed_mm
from checks.engine.remedies import Advice
from checks.engine.slots import edge_after_reaming_mm, remaining_edge_mm, shortest_slots
from checks.methods.model import (
    INCH,
    Example,
    Method,
    Piece,
    Result,
    Source,
    given,
    length,
    said,
    words,
)
from checks.methods.notation import formula
from checks.methods.plates import CLEARANCE, EDGE, FOUR, HOLE, MOVE, ROD
from checks.tolerances import limits_for
from checks.wording import REMEDIES
from jobs.plan.model import Tolerances


def _advised(off_mm: float) -> Advice:
    """What is advised where one rod of four stands off, outward along. [mm]"""
    rods = FOUR.copy()
    rods[0, 0] -= off_mm
    clearance, limit = np.full(4, CLEARANCE), np.full((1, 2), MOVE)
    held = fit_plates(FOUR[None], rods[None], clearance[None], None, limit)
    needed = float(hole_needed_mm(held, np.array([HOLE]))[0])
    cut = shortest_slots(FOUR, rods, clearance, limit[0])
    left = remaining_edge_mm(FOUR, cut.extension_mm, cut.direction_rad, EDGE)
    edge = least_edge_mm(ROD)
    case = PatternCase(
        style="imperial",
        worst_miss=off_mm,
        line_limit=MOVE,
        re_anchor_beyond=limits_for(Tolerances()).re_anchor_beyond(),
        overrun_as_drawn=off_mm - CLEARANCE,
        overrun=float(held.overrun_mm[0]),
        shift=(float(held.shift_mm[0, 0]), float(held.shift_mm[0, 1])),
        turn=float(held.turn_rad[0]),
        ream=Opening(
            edge_left=edge_after_reaming_mm(HOLE, needed, EDGE),
            edge_needed=edge,
            washer=None,
            hole_diameter=needed,
        ),
        slot=Opening(
            edge_left=float(left.min()),
            edge_needed=edge,
            washer=None,
            slots=({"rod": 1, "extension": float(cut.extension_mm[0])},),
        ),
        re_anchor={},
    )
    return advise_pattern(case, None)


def _order(advice: Advice) -> Piece:
    return words("; ".join(REMEDIES[each.remedy] for each in advice.remedies))


def _named(*remedies: str) -> Piece:
    return words("; ".join(REMEDIES[each] for each in remedies))


def _ways_out() -> Example:
    offs = np.array([1.0, 8.0, 20.0]) * INCH / 16.0
    within, near, far = (_advised(float(off)) for off in offs)
    gone = [remedy for remedy, _ in far.ruled_out]
    return Example(
        title="One rod of four off, by little, more and much",
        given=(
            given("Rods and holes", length(ROD), " and ", length(HOLE)),
            given("Hole's centre to the plate's edge", length(EDGE)),
            given("Rod 1 off, outward", length(offs[0]), "; ", length(offs[1]), "; ",
                  length(offs[2])),
        ),
        steps=(
            said("Off by no more than the clearance, ", length(CLEARANCE),
                 ": the plate goes on as drawn."),
            said(length(offs[1]), ": larger holes do, and leave edge enough; slots do"
                 " too, and come second."),
            said(length(offs[2]), " is beyond 1 in: neither reamed nor slotted."),
        ),
        results=(
            Result("Little off", _order(within), _named("shift", "refer")),
            Result("More off", _order(near),
                   _named("ream", "slot", "re_anchor", "refer")),
            Result("Much off", _order(far), _named("re_anchor", "refer")),
            Result("Ruled out then", _named(*gone), _named("shift", "ream", "slot")),
        ),
    )  # fmt: skip


METHODS = (
    Method(
        slug="order-of-remedies",
        name="Order of the remedies",
        answers="What is proposed first where concrete and steel disagree, and why.",
        engine=("remedies", "pattern_remedies", "surface_remedies", "cautions"),
        formulas=(
            formula('"1. measure again, if in doubt"'),
            formula('"2. shift within the line tolerance"'),
            formula('"3. ream, if edge is left"'),
            formula('"4. slot, if edge is left"'),
            formula('"5. re-anchor"'),
            formula('"6. refer to the engineer"'),
        ),
        symbols=(),
        sources=(
            Source("the order, least intrusive first; beyond 1 in cutting and"
                   " re-anchoring is usually easier than slotting", "common practice"),
            Source("each step leans on the computations above, with their sources",
                   "ours"),
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
)  # fmt: skip
