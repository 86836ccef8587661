"""Base plates, slots, washers and shifts of the steel."""

from math import hypot

import numpy as np

from checks.engine.arrays import FloatArray
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
from checks.engine.steel_shift.best_shift import (
    SteelShift,
    fit_frame_line_shift,
    fit_steel_shift,
)
from checks.methods.example_values import (
    FOOT_MM,
    INCH_MM,
    build_result,
    describe_input,
    write_text,
)
from checks.methods.model import Calculation, ExampleResult, ExampleText
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.values import ToleranceSpec

HOLES_MM = np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]]) * INCH_MM
ROD_MM, HOLE_MM, EDGE_MM = 3.0 * INCH_MM / 4.0, 7.0 * INCH_MM / 8.0, 1.5 * INCH_MM
CLEARANCE_MM = (HOLE_MM - ROD_MM) / 2.0
DISPLACEMENT_MM = INCH_MM / 2.0
LINE_TOLERANCE_MM = INCH_MM / 8.0
ALLOWED_MM = INCH_MM / 8.0


def calculate_wide_group() -> Calculation:
    """Fit a plate over a wide rod group."""
    # Symmetry proves the optimum by hand: no shift or rotation helps all four rods.
    by = INCH_MM / 8.0
    rods = HOLES_MM + np.sign(HOLES_MM) * [by, 0.0]
    computed = fit_plates(HOLES_MM[None], rods[None], np.full((1, 4), CLEARANCE_MM))
    needed = float(hole_needed_mm(computed, np.array([HOLE_MM]))[0])
    return Calculation(
        inputs=(
            describe_input("Rods", "{:length}", ROD_MM),
            describe_input("Holes", "{:length}", HOLE_MM),
            describe_input(
                "Each rod displaced by", "{:length}, outward along the wall", by
            ),
        ),
        steps=(
            write_text(
                "Clearance: ({:length} − {:length}) ÷ 2 = {:length}.",
                HOLE_MM,
                ROD_MM,
                CLEARANCE_MM,
            ),
            write_text(
                "Any shift or rotation that brings one rod nearer moves its opposite"
                " further away. The centre is best: each rod is {:length} from the"
                " centre of its hole.",
                by,
            ),
            write_text(
                "{:length} − {:length} = {:length}.",
                by,
                CLEARANCE_MM,
                by - CLEARANCE_MM,
            ),
        ),
        results=(
            build_result(
                "Overrun",
                "length",
                computed.interference_mm[0],
                by - CLEARANCE_MM,
                # The solver stops within 1e-6 mm of the optimum.
                hand_tolerance=1e-6,
            ),
            build_result(
                "Plate fits",
                "yes_no",
                computed.interference_mm[0] <= 0.0,
                by <= CLEARANCE_MM,
            ),
            build_result(
                "Hole needed, one diameter for all",
                "length",
                needed,
                HOLE_MM + 2.0 * (by - CLEARANCE_MM),
                hand_tolerance=1e-6,
            ),
            build_result("Proven optimum", "yes_no", computed.proven[0]),
        ),
    )


def calculate_slot() -> Calculation:
    """Calculate the shortest slot."""
    # The rod is too far for an enlarged hole, and not far enough to re-anchor.
    rods = HOLES_MM.copy()
    rods[0, 0] -= DISPLACEMENT_MM
    computed = find_shortest_slots_many(
        HOLES_MM[None],
        rods[None],
        np.full((1, 4), CLEARANCE_MM),
        shift_limit_mm=np.full((1, 2), LINE_TOLERANCE_MM),
        rotation_limit_rad=np.full(1, resolve_limits(ToleranceSpec()).column_turn()),
        known_short=True,
    ).plate_slots(0)
    extension = DISPLACEMENT_MM - 2.0 * CLEARANCE_MM
    return Calculation(
        inputs=(
            describe_input("Rods", "{:length}", ROD_MM),
            describe_input("Holes", "{:length}", HOLE_MM),
            describe_input("Rod 1 displaced by", "{:length}", DISPLACEMENT_MM),
            describe_input(
                "Plate may move by", "{:length}, the line tolerance", LINE_TOLERANCE_MM
            ),
        ),
        steps=(
            write_text("Clearance: {:length}.", CLEARANCE_MM),
            write_text(
                "The plate moves towards rod 1 until the holes beside it touch:"
                " {:length}.",
                CLEARANCE_MM,
            ),
            write_text(
                "Remainder for hole 1: {:length} − {:length} − its own {:length} ="
                " {:length}.",
                DISPLACEMENT_MM,
                CLEARANCE_MM,
                CLEARANCE_MM,
                extension,
            ),
        ),
        results=_build_slot_results(computed, extension),
    )


def _build_slot_results(
    computed: PlateSlots, extension: float
) -> tuple[ExampleResult, ...]:
    return (
        build_result(
            "Holes opened",
            "text",
            ", ".join(str(i + 1) for i in np.flatnonzero(computed.is_opened)),
            "1",
        ),
        build_result(
            "Slot beyond the hole",
            "length",
            computed.extension_mm[0],
            extension,
            hand_tolerance=1e-6,
        ),
        build_result(
            "Slot",
            "length",
            HOLE_MM + computed.extension_mm[0],
            HOLE_MM + extension,
            hand_tolerance=1e-6,
        ),
        build_result(
            "Plate moved along",
            "+length",
            computed.shift_mm[0],
            -CLEARANCE_MM,
            hand_tolerance=1e-4,
        ),
    )


def calculate_edge_distance() -> Calculation:
    """Calculate the remaining edge of opened holes."""
    # The slot is the one of the example above.
    slot = np.array([DISPLACEMENT_MM - 2.0 * CLEARANCE_MM, 0.0, 0.0, 0.0])
    left = edge_after_slotting_mm(
        HOLES_MM, slot, np.array([np.pi, 0.0, 0.0, 0.0]), EDGE_MM
    )
    hole = HOLE_MM + INCH_MM / 8.0
    return Calculation(
        inputs=(
            describe_input("Rods", "{:length}", ROD_MM),
            describe_input(
                "Centre of the hole to the edge of the plate", "{:length}", EDGE_MM
            ),
            describe_input("Slot extends outward by", "{:length}", slot[0]),
            describe_input("Or all holes enlarged to", "{:length}", hole),
        ),
        steps=(
            write_text(
                "Slot: {:length} − {:length} = {:length}.",
                EDGE_MM,
                slot[0],
                EDGE_MM - slot[0],
            ),
            write_text(
                "Enlarged: {:length} − ({:length} − {:length}) ÷ 2 = {:length}.",
                EDGE_MM,
                hole,
                HOLE_MM,
                EDGE_MM - INCH_MM / 16.0,
            ),
        ),
        results=(
            build_result(
                "Edge needed, 3/4 in rod",
                "length",
                min_edge_distance_mm(ROD_MM),
                published=INCH_MM,
            ),
            build_result(
                "Edge needed, 1 in rod",
                "length",
                min_edge_distance_mm(INCH_MM),
                published=1.25 * INCH_MM,
            ),
            build_result(
                "Edge left by the slot", "length", left.min(), EDGE_MM - slot[0]
            ),
            build_result(
                "Enough",
                "yes_no",
                slots_keep_edge(left, np.full(4, ROD_MM)),
                EDGE_MM - slot[0] >= INCH_MM,
            ),
            build_result(
                "Edge left by the enlarged holes",
                "length",
                edge_after_reaming_mm(HOLE_MM, hole, EDGE_MM),
                EDGE_MM - INCH_MM / 16.0,
            ),
        ),
    )


def calculate_washers() -> Calculation:
    """Select covering washers."""
    hole, slot = 21.0 * INCH_MM / 16.0, HOLE_MM + DISPLACEMENT_MM - 2.0 * CLEARANCE_MM
    table = select_plate_washer(hole, ROD_MM)
    opened = select_slot_washer(slot, ROD_MM)
    return Calculation(
        inputs=(
            describe_input("Rod", "{:length}", ROD_MM),
            describe_input("Hole", "{:length}", hole),
            describe_input("Slot", "{:length}", slot),
        ),
        steps=(
            write_text(
                "2 × {:length} − {:length} = {:length}: the next size of the table is"
                " used.",
                hole,
                ROD_MM,
                2.0 * hole - ROD_MM,
            ),
            write_text(
                "2 × {:length} − {:length} = {:length}: the same washer.",
                slot,
                ROD_MM,
                2.0 * slot - ROD_MM,
            ),
        ),
        results=(
            build_result(
                "Washer over the hole", "length", table.size_mm, published=2.0 * INCH_MM
            ),
            build_result(
                "Its thickness", "length", table.thickness_mm, published=INCH_MM / 4.0
            ),
            build_result("Washer over the slot", "length", opened.size_mm),
        ),
    )


def calculate_steel_shift() -> Calculation:
    """Calculate the best move of all the steel."""
    # Four positions share one rotation; the fifth must not disturb the fit.
    turn, long, wide = 0.0005, 60.0 * FOOT_MM, 40.0 * FOOT_MM
    planned = np.array([[0, 0], [long, 0], [long, wide], [0, wide], [long / 2, 0]])
    arm = planned - [long / 2.0, wide / 2.0]
    off = turn * np.stack([-arm[:, 1], arm[:, 0]], axis=1)
    off[4, 1] += INCH_MM
    computed = fit_steel_shift(
        planned[:, None],
        (planned + off)[:, None],
        np.full((5, 1), ALLOWED_MM),
        effort="quick",  # the example has a single best move
    )
    corner = turn * hypot(*arm[0])
    centre = turn * (wide / 2.0 - wide * 2.0 / 5.0)
    return Calculation(
        inputs=(
            describe_input(
                "Positions", "four corners, and the middle of one long wall"
            ),
            describe_input("Rotation of the layout", "{:2 mrad}", 1000.0 * turn),
            describe_input("Middle position displaced inward by", "{:length}", INCH_MM),
            describe_input("Allowed distance of each rod", "{:length}", ALLOWED_MM),
        ),
        steps=_write_turned_steps(corner, centre),
        results=(
            build_result(
                "To rework as built", "0", np.count_nonzero(computed.rework_before), 5.0
            ),
            build_result(
                "To rework after the move",
                "0",
                np.count_nonzero(computed.rework_after),
                1.0,
            ),
            build_result(
                "Rotation, counter-clockwise",
                "2 mrad",
                1000.0 * computed.rotation_rad,
                1000.0 * turn,
                hand_tolerance=1e-6,
            ),
            build_result(
                "Shift right",
                "+fine",
                computed.shift_mm[0],
                centre,
                hand_tolerance=1e-6,
            ),
        ),
    )


def _write_turned_steps(corner: float, centre: float) -> tuple[ExampleText, ...]:
    return (
        write_text(
            "A corner is √(30² + 20²) ft from the centre: 0.0005 × that = {:fine},"
            " more than {:length}.",
            corner,
            ALLOWED_MM,
        ),
        write_text(
            "With the steel rotated alike all four corners fit; the fifth position"
            " does not."
        ),
        write_text(
            "The centroid of the five is 4 ft from the centre of the building: 0.0005"
            " × 4 ft = {:fine} of shift.",
            centre,
        ),
    )


def calculate_frame_line_shift() -> Calculation:
    """Calculate the best move of a frame line."""
    # Two of three columns can share a move, so one stays to be reworked.
    off = np.array([4.0, 6.0, -2.0]) * INCH_MM / 16.0
    planned = np.stack([np.zeros(3), 20.0 * FOOT_MM * np.arange(3)], axis=1)
    rods = planned + np.stack([off, np.zeros(3)], axis=1)
    computed: SteelShift = fit_frame_line_shift(
        planned[:, None],
        rods[:, None],
        np.full((3, 1), ALLOWED_MM),
        np.array([1.0, 0.0]),
    )
    middle = (off[0] + off[1]) / 2.0
    return Calculation(
        inputs=(
            describe_input(
                "Deviation across the line",
                "{:+length}, {:+length}, {:+length}",
                off[0],
                off[1],
                off[2],
            ),
            describe_input("Allowed distance of each rod", "{:length}", ALLOWED_MM),
        ),
        steps=(
            *(
                write_text(
                    "Column {} allows a move of {:length} to {:length}.",
                    i + 1,
                    each - ALLOWED_MM,
                    each + ALLOWED_MM,
                )
                for i, each in enumerate(off)
            ),
            write_text(
                "The ranges of the first two overlap. Half-way between them the worst"
                " deviation is smallest: {:length}.",
                middle,
            ),
        ),
        results=_build_line_results(off, computed, middle),
    )


def _build_line_results(
    off: FloatArray, computed: SteelShift, middle: float
) -> tuple[ExampleResult, ...]:
    return (
        build_result(
            "Move across", "+length", computed.shift_mm[0], middle, hand_tolerance=1e-6
        ),
        build_result(
            "To rework as built",
            "0",
            np.count_nonzero(computed.rework_before),
            np.count_nonzero(np.abs(off) > ALLOWED_MM),
        ),
        build_result(
            "To rework after the move",
            "0",
            np.count_nonzero(computed.rework_after),
            np.count_nonzero(np.abs(off - middle) > ALLOWED_MM),
        ),
        build_result(
            "Worst of the others, beyond the allowed distance",
            "+length",
            computed.excess_after_mm[0],
            off[1] - middle - ALLOWED_MM,
            hand_tolerance=1e-6,
        ),
    )
