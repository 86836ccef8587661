"""A plate punched to the rods, laid out by hand."""

import numpy as np

from checks.engine.new_plate import PlatePattern, punch_to_rods
from checks.methods.example_values import (
    INCH_MM,
    build_result,
    describe_input,
    write_text,
)
from checks.methods.model import Calculation

PLANNED_MM = np.array([[-2, 9], [2, 9], [-2, 14], [2, 14]]) * INCH_MM
EDGE_MM = 1.25 * INCH_MM
HOLE_MM = 15 / 16 * INCH_MM
ROD_MM = 0.75 * INCH_MM
OFF_MM = np.array([0.30, 0.11]) * INCH_MM


def calculate_new_plate() -> Calculation:
    """Lay out a plate for four rods, one of them displaced."""
    rods = PLANNED_MM.copy()
    rods[1] += OFF_MM
    plate = punch_to_rods(
        PlatePattern(
            planned=PLANNED_MM,
            rods=rods,
            diameter=np.full(4, ROD_MM),
            hole_diameter=HOLE_MM,
            edge_distance=EDGE_MM,
        ),
        "imperial",
    )
    return Calculation(
        inputs=(
            describe_input(
                "Holes as drawn",
                "{:length} by {:length} apart, edge distance {:length}",
                4 * INCH_MM,
                5 * INCH_MM,
                EDGE_MM,
            ),
            describe_input("Holes and rods", "{:length}, {:length}", HOLE_MM, ROD_MM),
            describe_input(
                "Rod 2 displaced by", "{:+fine} along, {:+fine} inward", *OFF_MM
            ),
        ),
        steps=(
            write_text(
                "Hole 2 from the corner: {:fine} along, {:fine} inward. In sixteenths"
                " {:length} and {:length}.",
                *plate.exact[1],
                *plate.ordinates[1],
            ),
            write_text(
                "Of the clearance ({:length} − {:length}) ÷ 2 = {:fine} the rounding"
                " leaves {:fine}.",
                HOLE_MM,
                ROD_MM,
                plate.clearance[1],
                plate.clearance_left[1],
            ),
            write_text(
                "The right edge would be {:fine} from it, less than the {:length} of"
                " Table J3.4: the plate grows by {:length}.",
                plate.edge_left[1] - plate.growth[2],
                plate.edge_needed[1],
                plate.growth[2],
            ),
        ),
        results=(
            # 5.25 + 0.30 = 5.55 in: 5 9/16 in is 0.0125 in away, 5 1/2 in is 0.05.
            build_result(
                "Hole 2, along", "length", plate.ordinates[1, 0], 5.5625 * INCH_MM
            ),
            build_result(
                "Hole 2, inward", "length", plate.ordinates[1, 1], 1.375 * INCH_MM
            ),
            build_result(
                "Left round rod 2",
                "fine",
                plate.clearance_left[1],
                (0.09375 - float(np.hypot(0.0125, 0.015))) * INCH_MM,
            ),
            # 6.5 - 5.5625 = 0.9375 in, 1 in needed.
            build_result("Width", "length", plate.size[0], 6.5625 * INCH_MM),
            build_result("Depth", "length", plate.size[1], 7.5 * INCH_MM),
        ),
    )
