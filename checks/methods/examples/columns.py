"""Plumb of columns."""

from math import atan2, degrees, hypot

from checks.engine.plumb import assess_plumb
from checks.methods.example_values import (
    FOOT_MM,
    INCH_MM,
    build_result,
    describe_input,
    write_text,
)
from checks.methods.model import Calculation
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.values import ToleranceSpec


def calculate_plumb() -> Calculation:
    """Compare a column with its plumb limit."""
    # One axis is within its limit and the other is not.
    height, along, inward = 20.0 * FOOT_MM, INCH_MM / 4.0, -5.0 * INCH_MM / 8.0
    ratio = resolve_limits(ToleranceSpec()).plumb()
    computed = assess_plumb([along, inward], height, ratio)
    limit = height / 500.0
    return Calculation(
        inputs=(
            describe_input("Height between the marks", "{:length}", height),
            describe_input(
                "Top out of plumb by", "{:+length} along, {:+length} in", along, inward
            ),
        ),
        steps=(
            write_text("{:length} ÷ 500 = {:fine}.", height, limit),
            write_text(
                "{:length} is within the limit, {:length} is not.", along, -inward
            ),
            write_text(
                "Together √({:length}² + {:length}²) = {:fine}.",
                along,
                -inward,
                hypot(along, inward),
            ),
        ),
        results=(
            build_result("Limit, each axis", "fine", float(computed.limit_mm), limit),
            build_result("Along", "within", computed.within[0], along <= limit),
            build_result("In", "within", computed.within[1], -inward <= limit),
            build_result(
                "Move the top, along", "+length", computed.movement_mm[0], -along
            ),
            build_result(
                "Move the top, in", "+length", computed.movement_mm[1], -inward
            ),
            build_result(
                "Out of plumb, both axes together",
                "fine",
                float(computed.out_of_plumb_mm),
                hypot(along, inward),
            ),
            build_result(
                "Direction, counter-clockwise from along",
                "0 °",
                degrees(float(computed.direction_rad)),
                degrees(atan2(inward, along)),
            ),
        ),
    )
