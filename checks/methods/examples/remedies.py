"""Likely causes and the order of remedies."""

import numpy as np

from checks.engine.causes import estimate_errors as error_of
from checks.engine.causes import (
    find_inverted_rods,
    find_misread_amounts,
    find_setup_disturbances,
    find_swapped_pairs,
    find_wrong_orientation,
)
from checks.engine.fasteners import min_edge_distance_mm
from checks.engine.outline import adjust_outline
from checks.engine.plate_fit.plate import fit_plates, hole_needed_mm
from checks.engine.plate_fit.slots import (
    edge_after_reaming_mm,
    edge_after_slotting_mm,
    find_shortest_slots,
    order_slots,
)
from checks.engine.remedies.pattern import HoleOpening, PatternCase, advise_pattern
from checks.engine.remedies.remedy import Advice
from checks.engine.shop_sizes import round_up_to_shop
from checks.methods.example_values import (
    FOOT_MM,
    INCH_MM,
    build_result,
    describe_input,
    show_value,
    write_text,
)
from checks.methods.examples.outline import (
    CORNERS_MM,
    DIAGONAL_MM,
    LENGTH_MM,
    PAIRS,
    SIGMA_MM,
    WIDTH_MM,
)
from checks.methods.examples.plates import (
    CLEARANCE_MM,
    EDGE_MM,
    HOLE_MM,
    HOLES_MM,
    LINE_TOLERANCE_MM,
    ROD_MM,
)
from checks.methods.model import Calculation, ExampleValue
from checks.tolerances.limits import resolve_limits
from core.vocabulary import RemedyKind
from jobs.anchor_plan.values import ToleranceSpec


def _show_misreading(mm: float) -> ExampleValue:
    return show_value(mm, "length") if mm else show_value("none", "text")


def calculate_misreadings() -> Calculation:
    """Find a foot and an inch misread."""
    # Two readings are off by a foot or an inch and a remainder, the third by neither.
    off = np.array([12.0 + 1 / 16, -15 / 16, 1 / 2]) * INCH_MM
    rest = np.array([1 / 4, 1 / 8, 1 / 8]) * INCH_MM
    computed = find_misread_amounts(off, rest)
    read = [
        LENGTH_MM,
        WIDTH_MM,
        LENGTH_MM,
        WIDTH_MM,
        DIAGONAL_MM + FOOT_MM,
        DIAGONAL_MM,
    ]
    figure = adjust_outline(CORNERS_MM, PAIRS, read, SIGMA_MM)
    alone = error_of(figure.residuals_mm, figure.redundancy)
    return Calculation(
        inputs=(
            *(
                describe_input(
                    f"Deviation of reading {i + 1}",
                    "{:+length}; largest remainder {:length}",
                    off[i],
                    rest[i],
                )
                for i in range(3)
            ),
            describe_input(
                "An outline of 40 ft by 30 ft", "one diagonal read a foot too long"
            ),
        ),
        steps=(
            write_text(
                "Reading 1 minus a foot leaves {:length}. Reading 2 plus an inch"
                " leaves {:length}. Reading 3 is neither.",
                off[0] - FOOT_MM,
                off[1] + INCH_MM,
            ),
            write_text("The error of the diagonal alone is −v ÷ r: about a foot."),
        ),
        results=(
            build_result(
                "Reading 1", "length", _show_misreading(computed[0]), 12.0 * INCH_MM
            ),
            build_result(
                "Reading 2", "length", _show_misreading(computed[1]), -INCH_MM
            ),
            build_result("Reading 3", "text", _show_misreading(computed[2]), "none"),
            build_result(
                "The diagonal is wrong by",
                "+length",
                alone[4],
                FOOT_MM,
                # The adjustment is not linear at a foot.
                hand_tolerance=0.02,
            ),
        ),
    )


def calculate_exchanges() -> Calculation:
    """Find exchanged lines and a mirrored detail."""
    planned = np.array([10.0, 20.0, 30.0]) * FOOT_MM
    read = planned[[1, 0, 2]] + np.array([INCH_MM / 16.0, 0.0, 0.0])
    pairs = find_swapped_pairs(planned, read, INCH_MM / 8.0)
    drawn = np.array([[-2.0, 4.0], [2.0, 4.0], [2.0, 10.0], [-2.0, 9.0]]) * INCH_MM
    built = drawn * [-1.0, 1.0]
    way = find_wrong_orientation(drawn, built, INCH_MM / 8.0)
    named = [f"{a + 1} and {b + 1}" for a, b in pairs.tolist()]
    return Calculation(
        inputs=(
            describe_input(
                "Lines planned",
                "{:length}; {:length}; {:length}",
                planned[0],
                planned[1],
                planned[2],
            ),
            describe_input(
                "Lines read",
                "{:length}; {:length}; {:length}",
                read[0],
                read[1],
                read[2],
            ),
            describe_input(
                "Rods drawn, in inches", "(−2, 4), (2, 4), (2, 10), (−2, 9)"
            ),
            describe_input("Rods built", "(2, 4), (−2, 4), (−2, 10), (2, 9)"),
        ),
        steps=(
            write_text(
                "Each of the first two readings matches the plan of the other within"
                " {:length}.",
                INCH_MM / 8.0,
            ),
            write_text("Every rod is as drawn, with its sign along the wall reversed."),
        ),
        results=(
            build_result("Exchanged", "text", ", ".join(named), "1 and 2"),
            build_result(
                "Detail", "text", way or "as drawn", "mirrored along the wall"
            ),
        ),
    )


def calculate_level_mistakes() -> Calculation:
    """Find an inverted grade rod and a disturbed set-up."""
    # The grade rod is 13 ft long: a reading upside down is 13 ft minus the true one.
    reading, expected = 38.0 * INCH_MM, 118.125 * INCH_MM
    stave = find_inverted_rods([reading], [expected], INCH_MM)[0]
    read = np.array([48.0, 48.125, 48.0, 48.5, 48.625, 48.5, 48.5, 48.625]) * INCH_MM
    pads = np.array([0, 1, 2, 3, 4, 5, 0, 1])
    computed = find_setup_disturbances(
        read, np.zeros(8, dtype=np.intp), pads, INCH_MM / 4.0
    )
    return Calculation(
        inputs=(
            describe_input("One reading", "{:length}", reading),
            describe_input("Expected from its neighbours", "{:length}", expected),
            describe_input(
                "Another set-up, in inches",
                "48, 48 1/8, 48, 48 1/2, 48 5/8, 48 1/2; then pads 1 and 2 again: 48"
                " 1/2, 48 5/8",
            ),
        ),
        steps=(
            write_text(
                "{:length} + {:length} = {:length}: a 13 ft rod.",
                reading,
                expected,
                reading + expected,
            ),
            write_text(
                "Pads 1 and 2 both changed by {:length}, from the fourth reading on.",
                INCH_MM / 2.0,
            ),
        ),
        results=(
            build_result(
                "Rod read upside down", "length", float(stave), 13.0 * FOOT_MM
            ),
            build_result(
                "Set-up disturbed by", "length", computed[0].shift_mm, read[6] - read[0]
            ),
            build_result("Disturbed before reading", "0", computed[0].reading + 1, 4),
        ),
    )


def _advise_displacement(off_mm: float) -> Advice:
    """Advise on one rod of four that is displaced outward along the wall. [mm]"""
    rods = HOLES_MM.copy()
    rods[0, 0] -= off_mm
    clearance, limit = np.full(4, CLEARANCE_MM), np.full((1, 2), LINE_TOLERANCE_MM)
    turn = np.full(1, resolve_limits(ToleranceSpec()).column_turn())
    free = fit_plates(HOLES_MM[None], rods[None], clearance[None])
    bounded = fit_plates(HOLES_MM[None], rods[None], clearance[None], None, limit, turn)
    needed = float(hole_needed_mm(bounded, np.array([HOLE_MM]))[0])
    cut = find_shortest_slots(HOLES_MM, rods, clearance, limit[0], float(turn[0]))
    order = order_slots(np.full(4, HOLE_MM), cut.extension_mm, "imperial")
    left = edge_after_slotting_mm(
        HOLES_MM, order.ahead, cut.direction_rad, EDGE_MM, order.behind
    )
    ordered = float(round_up_to_shop(needed, "imperial"))
    edge = min_edge_distance_mm(ROD_MM)
    case = PatternCase(
        style="imperial",
        worst_position_error=off_mm,
        line_limit=LINE_TOLERANCE_MM,
        turn_limit=float(turn[0]),
        reanchor_beyond=resolve_limits(ToleranceSpec()).re_anchor_beyond(),
        interference_as_drawn=off_mm - CLEARANCE_MM,
        interference=float(bounded.interference_mm[0]),
        shift=(float(bounded.shift_mm[0, 0]), float(bounded.shift_mm[0, 1])),
        rotation=float(bounded.rotation_rad[0]),
        free_interference=float(free.interference_mm[0]),
        free_shift=(float(free.shift_mm[0, 0]), float(free.shift_mm[0, 1])),
        free_rotation=float(free.rotation_rad[0]),
        ream=HoleOpening(
            edge_left=edge_after_reaming_mm(HOLE_MM, ordered, EDGE_MM),
            edge_needed=edge,
            washer=None,
            hole_diameter=needed,
            ordered_diameter=ordered,
        ),
        slot=HoleOpening(
            edge_left=float(left.min()),
            edge_needed=edge,
            washer=None,
            slots=(
                {
                    "rod": 1,
                    "axis": "along",
                    "extension": float(cut.extension_mm[0]),
                    "exact_length": HOLE_MM + float(cut.extension_mm[0]),
                    "length": float(order.length[0]),
                },
            ),
        ),
        reanchor={},
    )
    return advise_pattern(case, None)


def _list_remedies(advice: Advice) -> str:
    return "; ".join(RemedyKind(each.kind).label for each in advice.remedies)


def _join_labels(*remedies: str) -> str:
    return "; ".join(RemedyKind(each).label for each in remedies)


def calculate_remedy_order() -> Calculation:
    """Order the remedies of three displacements."""
    # The clearance, the edge and the limit of an inch separate the three cases.
    offs = np.array([1.0, 8.0, 20.0]) * INCH_MM / 16.0
    within, near, far = (_advise_displacement(float(off)) for off in offs)
    gone = [remedy for remedy, _ in far.ruled_out]
    return Calculation(
        inputs=(
            describe_input(
                "Rods and holes", "{:length} and {:length}", ROD_MM, HOLE_MM
            ),
            describe_input(
                "Centre of the hole to the edge of the plate", "{:length}", EDGE_MM
            ),
            describe_input(
                "Rod 1 displaced outward by",
                "{:length}; {:length}; {:length}",
                offs[0],
                offs[1],
                offs[2],
            ),
        ),
        steps=(
            write_text(
                "Displaced by no more than the clearance, {:length}: the plate fits"
                " as drawn.",
                CLEARANCE_MM,
            ),
            write_text(
                "{:length}: larger holes are enough and leave enough edge. Slots are"
                " enough too, and come second.",
                offs[1],
            ),
            write_text(
                "{:length} is beyond 1 in: no hole is enlarged or slotted.", offs[2]
            ),
        ),
        results=(
            build_result(
                "Slightly displaced",
                "text",
                _list_remedies(within),
                _join_labels("shift", "refer"),
            ),
            build_result(
                "More displaced",
                "text",
                _list_remedies(near),
                _join_labels("ream", "slot", "re_anchor", "refer"),
            ),
            build_result(
                "Far displaced",
                "text",
                _list_remedies(far),
                _join_labels("re_anchor", "refer"),
            ),
            build_result(
                "Ruled out for the last",
                "text",
                _join_labels(*gone),
                _join_labels("shift", "ream", "slot"),
            ),
        ),
    )
