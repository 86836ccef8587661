"""The base plate: does it go on, what would let it, and what edge and washer remain."""

import numpy as np

from checks.engine import cautions
from checks.engine.fasteners import covering_washer, least_edge_mm
from checks.engine.plate import fit_plates, hole_needed_mm
from checks.engine.slots import (
    Slots,
    edge_after_reaming_mm,
    remaining_edge_mm,
    shortest_slots_many,
    slot_feasible,
    slot_washer,
)
from checks.methods.model import (
    INCH,
    Example,
    Method,
    Result,
    Source,
    Symbol,
    given,
    length,
    said,
    words,
    yes_no,
)
from checks.methods.notation import formula, frac, sign

CONES = Source(
    "S. Boyd and L. Vandenberghe, Convex Optimization, 2004, for the problem and the"
    " proof of its answer",
    "from memory",
)
TURNS = Source("that no other turn does better", "ours")
EDGES = Source("AISC 360-16, Table J3.4", "published, seen second-hand")
TABLE = Source("AISC Design Guide 1, 2nd ed., Table 2.3", "published, seen second-hand")
FOUR = np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]]) * INCH
ROD, HOLE, EDGE = 3.0 * INCH / 4.0, 7.0 * INCH / 8.0, 1.5 * INCH
CLEARANCE = (HOLE - ROD) / 2.0
OUT = INCH / 2.0
MOVE = INCH / 8.0


def _wide() -> Example:
    by = INCH / 8.0
    rods = FOUR + np.sign(FOUR) * [by, 0.0]
    found = fit_plates(FOUR[None], rods[None], np.full((1, 4), CLEARANCE))
    needed = float(hole_needed_mm(found, np.array([HOLE]))[0])
    return Example(
        title="Four rods, 6 in apart on the plan, cast 1/4 in too wide",
        given=(
            given("Rods", length(ROD)),
            given("Holes", length(HOLE)),
            given("Each rod off the plan", length(by), ", outward along"),
        ),
        steps=(
            said("Clearance: (", length(HOLE), " − ", length(ROD), ") ÷ 2 = ",
                 length(CLEARANCE), "."),
            said(
                "Any shift or turn that brings one rod nearer takes its opposite"
                " further off: the middle is best, each ",
                length(by),
                " from its hole's centre.",
            ),
            said(length(by), " − ", length(CLEARANCE), " = ", length(by - CLEARANCE),
                 "."),
        ),
        results=(
            Result("Overrun", length(found.overrun_mm[0]), length(by - CLEARANCE),
                   leaves_out=1e-6),
            Result("Goes on", yes_no(found.overrun_mm[0] <= 0.0),
                   yes_no(by <= CLEARANCE)),
            Result("Hole needed, all alike", length(needed),
                   length(HOLE + 2.0 * (by - CLEARANCE)), leaves_out=1e-6),
            Result("Proven best", yes_no(found.proven[0])),
        ),
    )  # fmt: skip


def _slot() -> Example:
    rods = FOUR.copy()
    rods[0, 0] -= OUT
    found = shortest_slots_many(
        FOUR[None],
        rods[None],
        np.full((1, 4), CLEARANCE),
        shift_limit_mm=np.full((1, 2), MOVE),
        prove=False,
        short=True,
    ).one(0)
    extension = OUT - 2.0 * CLEARANCE
    return Example(
        title="One rod of four off by 1/2 in, outward along",
        given=(
            given("Rods", length(ROD)),
            given("Holes", length(HOLE)),
            given("Rod 1 off the plan", length(OUT)),
            given("Plate may move by", length(MOVE), ", the line tolerance"),
        ),
        steps=(
            said("Clearance: ", length(CLEARANCE), "."),
            said(
                "The plate moves towards rod 1 until the holes beside it touch: ",
                length(CLEARANCE),
                ".",
            ),
            said(
                "Left for hole 1: ",
                length(OUT),
                " − ",
                length(CLEARANCE),
                " − its own ",
                length(CLEARANCE),
                " = ",
                length(extension),
                ".",
            ),
        ),
        results=_slot_results(found, extension),
    )


def _slot_results(found: Slots, extension: float) -> tuple[Result, ...]:
    return (
        Result(
            "Holes opened",
            words(", ".join(str(i + 1) for i in np.flatnonzero(found.opened))),
            words("1"),
        ),
        Result(
            "Slot longer than the hole by",
            length(found.extension_mm[0]),
            length(extension),
            leaves_out=1e-6,
        ),
        Result(
            "Slot",
            length(HOLE + found.extension_mm[0]),
            length(HOLE + extension),
            leaves_out=1e-6,
        ),
        Result(
            "Plate moved along",
            length(found.shift_mm[0], signed=True),
            length(-CLEARANCE, signed=True),
            leaves_out=1e-4,
        ),
    )


def _edge() -> Example:
    slot = np.array([OUT - 2.0 * CLEARANCE, 0.0, 0.0, 0.0])
    left = remaining_edge_mm(FOUR, slot, np.array([np.pi, 0.0, 0.0, 0.0]), EDGE)
    hole = HOLE + INCH / 8.0
    return Example(
        title="Two rows of the table; the slot above, or holes reamed instead",
        given=(
            given("Rods", length(ROD)),
            given("Hole's centre to the plate's edge", length(EDGE)),
            given("Slot outward by", length(slot[0])),
            given("Or all holes to", length(hole)),
        ),
        steps=(
            said("Slot: ", length(EDGE), " − ", length(slot[0]), " = ",
                 length(EDGE - slot[0]), "."),
            said("Reamed: ", length(EDGE), " − (", length(hole), " − ", length(HOLE),
                 ") ÷ 2 = ", length(EDGE - INCH / 16.0), "."),
        ),
        results=(
            Result("Edge needed, 3/4 in rod", length(least_edge_mm(ROD)),
                   published=length(INCH)),
            Result("Edge needed, 1 in rod", length(least_edge_mm(INCH)),
                   published=length(1.25 * INCH)),
            Result("Edge left by the slot", length(left.min()),
                   length(EDGE - slot[0])),
            Result("Enough", yes_no(slot_feasible(left, np.full(4, ROD))),
                   yes_no(EDGE - slot[0] >= INCH)),
            Result("Edge left by reaming",
                   length(edge_after_reaming_mm(HOLE, hole, EDGE)),
                   length(EDGE - INCH / 16.0)),
        ),
        source=EDGES,
    )  # fmt: skip


def _washer() -> Example:
    hole, slot = 21.0 * INCH / 16.0, HOLE + OUT - 2.0 * CLEARANCE
    table = covering_washer(hole, ROD)
    opened = slot_washer(HOLE, OUT - 2.0 * CLEARANCE, ROD)
    return Example(
        title="A 3/4 in rod in the table's largest hole, and in the slot above",
        source=TABLE,
        given=(
            given("Rod", length(ROD)),
            given("Hole", length(hole)),
            given("Slot", length(slot)),
        ),
        steps=(
            said("2 × ", length(hole), " − ", length(ROD), " = ",
                 length(2.0 * hole - ROD), ": the table's next is taken."),
            said("2 × ", length(slot), " − ", length(ROD), " = ",
                 length(2.0 * slot - ROD), ": the same washer."),
        ),
        results=(
            Result("Washer over the hole", length(table.size_mm),
                   published=length(2.0 * INCH)),
            Result("Its thickness", length(table.thickness_mm),
                   published=length(INCH / 4.0)),
            Result("Washer over the slot", length(opened.size_mm)),
        ),
    )  # fmt: skip


METHODS = (
    Method(
        slug="plate-fit",
        name="Plate fit, overrun and hole needed",
        answers="Whether the base plate goes over the rods, and by how much not.",
        engine=(
            "plate",
            "problem",
            "minimax",
            "closing",
            "cones",
            "placing",
            "turns",
        ),
        formulas=(
            formula("c =", frac("H − D", "2")),
            formula("o = min max(| R h_i + s − r_i | − c_i)"),
            formula("H_n = H + 2 o"),
        ),
        symbols=(
            Symbol(sign("H"), "hole diameter", "mm"),
            Symbol(sign("D"), "rod diameter", "mm"),
            Symbol(sign("c"), "clearance of a rod in its hole", "mm"),
            Symbol(sign("o"), "overrun, over the worst hole at the best place", "mm"),
            Symbol(sign("H_n"), "hole needed, the same for all", "mm"),
            Symbol(sign("R , s"), "turn and shift of the plate"),
            Symbol(sign("h , r"), "centres of hole and rod", "mm"),
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
    Method(
        slug="slots",
        name="Slots",
        answers="The fewest holes to open towards their rods, and how little each.",
        engine=("slots", "slot_search"),
        formulas=(formula("e_i = max(0, | R h_i + s − r_i | − c_i)"),),
        symbols=(
            Symbol(sign("e"), "what the slot is longer than its hole", "mm"),
            Symbol(
                sign("R , s"),
                "where the plate is put: fewest holes opened, then"
                " the longest slot shortest",
            ),
            Symbol(sign("h , r"), "centres of hole and rod", "mm"),
            Symbol(sign("c"), "clearance of a rod in its hole", "mm"),
        ),
        sources=(Source("every set of holes is tried, up to 12 holes", "ours"), CONES),
        limits=(
            "With more than 12 holes they are opened one after another, and fewer might"
            " do.",
            "Proposed only while the edge that is left is enough, and up to the miss"
            " beyond which rods are set anew.",
        ),
        examples=(_slot,),
        cautions=(cautions.WASHER,),
    ),
    Method(
        slug="edge-distance",
        name="Edge distance of opened holes",
        answers="Whether enough plate is left beside a hole that was opened.",
        engine=("slots", "fasteners"),
        formulas=(
            formula('"slot:" E − e ≥ E_J'),
            formula('"reamed:" E −', frac("H_n − H", "2"), "≥ E_J"),
        ),
        symbols=(
            Symbol(sign("E"), "hole's centre to the plate's edge, as drawn", "mm"),
            Symbol(sign("e"), "what the slot reaches towards that edge", "mm"),
            Symbol(sign("H , H_n"), "hole as punched, and as needed", "mm"),
            Symbol(sign("E_J"), "least edge distance for the rod's diameter", "mm"),
        ),
        sources=(
            EDGES,
            Source(
                "half the diameter's growth, though the centre stays; a diameter"
                " between rows takes the next larger row",
                "ours",
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
    Method(
        slug="covering-washer",
        name="Covering washer",
        answers="The plate washer that covers an opened hole wherever its rod stands.",
        engine=("fasteners", "slots"),
        formulas=(formula("W ≥ 2 H − D"),),
        symbols=(
            Symbol(sign("W"), "size of the washer", "mm"),
            Symbol(sign("H"), "diameter of the hole, or length of the slot", "mm"),
            Symbol(sign("D"), "rod diameter", "mm"),
        ),
        sources=(
            TABLE,
            Source(
                "AISC Design Guide 7: past the table a third of the rod's diameter"
                " thick",
                "published, seen second-hand",
            ),
            Source("the rule itself, which every row of the table keeps", "ours"),
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
