"""The base plate: does it go on, what would let it, and what edge and washer remain."""

import numpy as np

from checks.engine import cautions
from checks.engine.fasteners import min_edge_distance_mm, select_plate_washer
from checks.engine.plate_fit.plate import fit_plates, hole_needed_mm
from checks.engine.plate_fit.slots import (
    PlateSlots,
    edge_after_reaming_mm,
    edge_after_slotting_mm,
    find_shortest_slots_many,
    select_slot_washer,
    slots_keep_edge,
)
from checks.engine.sources import Provenance
from checks.methods.mathml import render_formula, render_fraction, render_symbol
from checks.methods.model import (
    INCH_MM,
    Example,
    ExampleResult,
    MethodDescription,
    MethodSource,
    Symbol,
    describe_input,
    show_length,
    show_text,
    show_yes_no,
    write_text,
)

CONES = MethodSource(
    "S. Boyd and L. Vandenberghe, Convex Optimization, 2004, for the problem and the"
    " proof of its answer",
    Provenance.FROM_MEMORY,
)
TURNS = MethodSource("that no other turn does better", Provenance.PROJECT_CHOICE)
EDGES = MethodSource("AISC 360-16, Table J3.4", Provenance.SECOND_HAND)
TABLE = MethodSource("AISC Design Guide 1, 2nd ed., Table 2.3", Provenance.SECOND_HAND)
FOUR = np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]]) * INCH_MM
ROD, HOLE, EDGE = 3.0 * INCH_MM / 4.0, 7.0 * INCH_MM / 8.0, 1.5 * INCH_MM
CLEARANCE = (HOLE - ROD) / 2.0
OUT = INCH_MM / 2.0
MOVE = INCH_MM / 8.0


def _wide() -> Example:
    by = INCH_MM / 8.0
    rods = FOUR + np.sign(FOUR) * [by, 0.0]
    found = fit_plates(FOUR[None], rods[None], np.full((1, 4), CLEARANCE))
    needed = float(hole_needed_mm(found, np.array([HOLE]))[0])
    return Example(
        title="Four rods, 6 in apart on the plan, cast 1/4 in too wide",
        inputs=(
            describe_input("Rods", show_length(ROD)),
            describe_input("Holes", show_length(HOLE)),
            describe_input("Each rod off the plan", show_length(by), ", outward along"),
        ),
        steps=(
            write_text(
                "Clearance: (",
                show_length(HOLE),
                " − ",
                show_length(ROD),
                ") ÷ 2 = ",
                show_length(CLEARANCE),
                ".",
            ),
            write_text(
                "Any shift or turn that brings one rod nearer takes its opposite"
                " further off: the middle is best, each ",
                show_length(by),
                " from its hole's centre.",
            ),
            write_text(
                show_length(by),
                " − ",
                show_length(CLEARANCE),
                " = ",
                show_length(by - CLEARANCE),
                ".",
            ),
        ),
        results=(
            ExampleResult(
                "Overrun",
                show_length(found.interference_mm[0]),
                show_length(by - CLEARANCE),
                hand_tolerance=1e-6,
            ),
            ExampleResult(
                "Goes on",
                show_yes_no(found.interference_mm[0] <= 0.0),
                show_yes_no(by <= CLEARANCE),
            ),
            ExampleResult(
                "Hole needed, all alike",
                show_length(needed),
                show_length(HOLE + 2.0 * (by - CLEARANCE)),
                hand_tolerance=1e-6,
            ),
            ExampleResult("Proven best", show_yes_no(found.proven[0])),
        ),
    )


def _slot() -> Example:
    rods = FOUR.copy()
    rods[0, 0] -= OUT
    found = find_shortest_slots_many(
        FOUR[None],
        rods[None],
        np.full((1, 4), CLEARANCE),
        shift_limit_mm=np.full((1, 2), MOVE),
        prove=False,
        known_short=True,
    ).plate_slots(0)
    extension = OUT - 2.0 * CLEARANCE
    return Example(
        title="One rod of four off by 1/2 in, outward along",
        inputs=(
            describe_input("Rods", show_length(ROD)),
            describe_input("Holes", show_length(HOLE)),
            describe_input("Rod 1 off the plan", show_length(OUT)),
            describe_input(
                "Plate may move by", show_length(MOVE), ", the line tolerance"
            ),
        ),
        steps=(
            write_text("Clearance: ", show_length(CLEARANCE), "."),
            write_text(
                "The plate moves towards rod 1 until the holes beside it touch: ",
                show_length(CLEARANCE),
                ".",
            ),
            write_text(
                "Left for hole 1: ",
                show_length(OUT),
                " − ",
                show_length(CLEARANCE),
                " − its own ",
                show_length(CLEARANCE),
                " = ",
                show_length(extension),
                ".",
            ),
        ),
        results=_slot_results(found, extension),
    )


def _slot_results(found: PlateSlots, extension: float) -> tuple[ExampleResult, ...]:
    return (
        ExampleResult(
            "Holes opened",
            show_text(", ".join(str(i + 1) for i in np.flatnonzero(found.opened))),
            show_text("1"),
        ),
        ExampleResult(
            "Slot longer than the hole by",
            show_length(found.extension_mm[0]),
            show_length(extension),
            hand_tolerance=1e-6,
        ),
        ExampleResult(
            "Slot",
            show_length(HOLE + found.extension_mm[0]),
            show_length(HOLE + extension),
            hand_tolerance=1e-6,
        ),
        ExampleResult(
            "Plate moved along",
            show_length(found.shift_mm[0], signed=True),
            show_length(-CLEARANCE, signed=True),
            hand_tolerance=1e-4,
        ),
    )


def _edge() -> Example:
    slot = np.array([OUT - 2.0 * CLEARANCE, 0.0, 0.0, 0.0])
    left = edge_after_slotting_mm(FOUR, slot, np.array([np.pi, 0.0, 0.0, 0.0]), EDGE)
    hole = HOLE + INCH_MM / 8.0
    return Example(
        title="Two rows of the table; the slot above, or holes reamed instead",
        inputs=(
            describe_input("Rods", show_length(ROD)),
            describe_input("Hole's centre to the plate's edge", show_length(EDGE)),
            describe_input("Slot outward by", show_length(slot[0])),
            describe_input("Or all holes to", show_length(hole)),
        ),
        steps=(
            write_text(
                "Slot: ",
                show_length(EDGE),
                " − ",
                show_length(slot[0]),
                " = ",
                show_length(EDGE - slot[0]),
                ".",
            ),
            write_text(
                "Reamed: ",
                show_length(EDGE),
                " − (",
                show_length(hole),
                " − ",
                show_length(HOLE),
                ") ÷ 2 = ",
                show_length(EDGE - INCH_MM / 16.0),
                ".",
            ),
        ),
        results=(
            ExampleResult(
                "Edge needed, 3/4 in rod",
                show_length(min_edge_distance_mm(ROD)),
                published=show_length(INCH_MM),
            ),
            ExampleResult(
                "Edge needed, 1 in rod",
                show_length(min_edge_distance_mm(INCH_MM)),
                published=show_length(1.25 * INCH_MM),
            ),
            ExampleResult(
                "Edge left by the slot",
                show_length(left.min()),
                show_length(EDGE - slot[0]),
            ),
            ExampleResult(
                "Enough",
                show_yes_no(slots_keep_edge(left, np.full(4, ROD))),
                show_yes_no(EDGE - slot[0] >= INCH_MM),
            ),
            ExampleResult(
                "Edge left by reaming",
                show_length(edge_after_reaming_mm(HOLE, hole, EDGE)),
                show_length(EDGE - INCH_MM / 16.0),
            ),
        ),
        source=EDGES,
    )


def _washer() -> Example:
    hole, slot = 21.0 * INCH_MM / 16.0, HOLE + OUT - 2.0 * CLEARANCE
    table = select_plate_washer(hole, ROD)
    opened = select_slot_washer(HOLE, OUT - 2.0 * CLEARANCE, ROD)
    return Example(
        title="A 3/4 in rod in the table's largest hole, and in the slot above",
        source=TABLE,
        inputs=(
            describe_input("Rod", show_length(ROD)),
            describe_input("Hole", show_length(hole)),
            describe_input("Slot", show_length(slot)),
        ),
        steps=(
            write_text(
                "2 × ",
                show_length(hole),
                " − ",
                show_length(ROD),
                " = ",
                show_length(2.0 * hole - ROD),
                ": the table's next is taken.",
            ),
            write_text(
                "2 × ",
                show_length(slot),
                " − ",
                show_length(ROD),
                " = ",
                show_length(2.0 * slot - ROD),
                ": the same washer.",
            ),
        ),
        results=(
            ExampleResult(
                "Washer over the hole",
                show_length(table.size_mm),
                published=show_length(2.0 * INCH_MM),
            ),
            ExampleResult(
                "Its thickness",
                show_length(table.thickness_mm),
                published=show_length(INCH_MM / 4.0),
            ),
            ExampleResult("Washer over the slot", show_length(opened.size_mm)),
        ),
    )


METHODS = (
    MethodDescription(
        slug="plate-fit",
        name="Plate fit, overrun and hole needed",
        summary="Whether the base plate goes over the rods, and by how much not.",
        engine=(
            "plate_fit.plate",
            "plate_fit.state",
            "plate_fit.interior_point",
            "plate_fit.active_set",
            "plate_fit.second_order_cone",
            "plate_fit.batch",
            "plate_fit.rotation",
        ),
        formulas=(
            render_formula("c =", render_fraction("H − D", "2")),
            render_formula("o = min max(| R h_i + s − r_i | − c_i)"),
            render_formula("H_n = H + 2 o"),
        ),
        symbols=(
            Symbol(render_symbol("H"), "hole diameter", "mm"),
            Symbol(render_symbol("D"), "rod diameter", "mm"),
            Symbol(render_symbol("c"), "clearance of a rod in its hole", "mm"),
            Symbol(
                render_symbol("o"),
                "overrun, over the worst hole at the best place",
                "mm",
            ),
            Symbol(render_symbol("H_n"), "hole needed, the same for all", "mm"),
            Symbol(render_symbol("R , s"), "turn and shift of the plate"),
            Symbol(render_symbol("h , r"), "centres of hole and rod", "mm"),
        ),
        sources=(CONES, TURNS),
        limits=(
            "An overrun of 0 or less goes on; its amount is the tightest hole's slack.",
            "Solved to 10⁻⁶ mm. Rods are taken as round and plumb through the plate.",
            "Holes are the detail's; no table of holes is assumed.",
            "As a remedy the plate is moved no further than the line tolerance.",
        ),
        examples=(_wide,),
        cautions=(cautions.SCREENING,),
    ),
    MethodDescription(
        slug="slots",
        name="Slots",
        summary="The fewest holes to open towards their rods, and how little each.",
        engine=("plate_fit.slots", "plate_fit.slot_search"),
        formulas=(render_formula("e_i = max(0, | R h_i + s − r_i | − c_i)"),),
        symbols=(
            Symbol(render_symbol("e"), "what the slot is longer than its hole", "mm"),
            Symbol(
                render_symbol("R , s"),
                "where the plate is put: fewest holes opened, then"
                " the longest slot shortest",
            ),
            Symbol(render_symbol("h , r"), "centres of hole and rod", "mm"),
            Symbol(render_symbol("c"), "clearance of a rod in its hole", "mm"),
        ),
        sources=(
            MethodSource(
                "every set of holes is tried, up to 12 holes", Provenance.PROJECT_CHOICE
            ),
            CONES,
        ),
        limits=(
            "With more than 12 holes they are opened one after another, and fewer might"
            " do.",
            "Proposed only while the edge that is left is enough, and up to the miss"
            " beyond which rods are set anew.",
        ),
        examples=(_slot,),
        cautions=(cautions.WASHER,),
    ),
    MethodDescription(
        slug="edge-distance",
        name="Edge distance of opened holes",
        summary="Whether enough plate is left beside a hole that was opened.",
        engine=("plate_fit.slots", "fasteners"),
        formulas=(
            render_formula('"slot:" E − e ≥ E_J'),
            render_formula('"reamed:" E −', render_fraction("H_n − H", "2"), "≥ E_J"),
        ),
        symbols=(
            Symbol(
                render_symbol("E"), "hole's centre to the plate's edge, as drawn", "mm"
            ),
            Symbol(render_symbol("e"), "what the slot reaches towards that edge", "mm"),
            Symbol(render_symbol("H , H_n"), "hole as punched, and as needed", "mm"),
            Symbol(
                render_symbol("E_J"), "least edge distance for the rod's diameter", "mm"
            ),
        ),
        sources=(
            EDGES,
            MethodSource(
                "half the diameter's growth, though the centre stays; a diameter"
                " between rows takes the next larger row",
                Provenance.PROJECT_CHOICE,
            ),
        ),
        limits=(
            "Holes of an outermost row have an edge outward; holes within have none.",
            "A detail that gives no edge distance allows no opening.",
            "The table is for bolts in steel; the engineer may ask for more.",
        ),
        examples=(_edge,),
        cautions=(cautions.SCREENING,),
    ),
    MethodDescription(
        slug="covering-washer",
        name="Covering washer",
        summary="The plate washer that covers an opened hole wherever its rod stands.",
        engine=("fasteners", "plate_fit.slots"),
        formulas=(render_formula("W ≥ 2 H − D"),),
        symbols=(
            Symbol(render_symbol("W"), "size of the washer", "mm"),
            Symbol(
                render_symbol("H"), "diameter of the hole, or length of the slot", "mm"
            ),
            Symbol(render_symbol("D"), "rod diameter", "mm"),
        ),
        sources=(
            TABLE,
            MethodSource(
                "AISC Design Guide 7: past the table a third of the rod's diameter"
                " thick",
                Provenance.SECOND_HAND,
            ),
            MethodSource(
                "the rule itself, which every row of the table keeps",
                Provenance.PROJECT_CHOICE,
            ),
        ),
        limits=(
            "A covering size, not a design: what the washer must carry is the"
            " engineer's.",
            "Washers are taken no thinner than the table's row for the rod.",
        ),
        examples=(_washer,),
        cautions=(cautions.WASHER,),
    ),
)
