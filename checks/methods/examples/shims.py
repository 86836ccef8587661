"""Shims and the high pad: examples of the family of levels."""

import numpy as np

from checks.engine.levelling.high_pad import find_pad_to_lower
from checks.engine.levelling.shim_choice import find_stacks_around
from checks.engine.levelling.shims import (
    count_pack_list,
    find_shim_stacks,
)
from checks.methods.example_values import (
    INCH_MM,
    build_result,
    describe_input,
    write_text,
)
from checks.methods.model import Calculation
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.values import ToleranceSpec

PLATES_MM = np.array([1.0, 2.0, 4.0]) * INCH_MM / 16.0
WITHOUT_NOISE_MM = 1e-6
"""Standard uncertainty with which an example by hand takes its readings."""

SHORTFALLS_MM = np.array([12.0, 10.0, 7.0]) * INCH_MM / 32.0


def _list_plates(counts: np.ndarray) -> str:
    """Write the plates of a stack, thickest first."""
    names = ("1/16", "1/8", "1/4")
    each = [names[i] for i in (2, 1, 0) for _ in range(int(counts[i]))]
    return " + ".join(each) + " in"


def calculate_stacks() -> Calculation:
    """Choose shim stacks."""
    # The third shortfall is half-way between two stacks: the tie goes to the thinner.
    computed = find_shim_stacks(SHORTFALLS_MM, PLATES_MM)
    below, above = find_stacks_around(SHORTFALLS_MM[2], PLATES_MM)
    return Calculation(
        inputs=(
            describe_input(
                "Below the highest",
                "{:length}; {:length}; {:length}",
                SHORTFALLS_MM[0],
                SHORTFALLS_MM[1],
                SHORTFALLS_MM[2],
            ),
            describe_input(
                "Available plates",
                "{:length}; {:length}; {:length}",
                PLATES_MM[0],
                PLATES_MM[1],
                PLATES_MM[2],
            ),
        ),
        steps=(
            write_text(
                "{:length} and {:length} are exact stacks.",
                SHORTFALLS_MM[0],
                SHORTFALLS_MM[1],
            ),
            write_text(
                "For {:length}: {:length} differs by {:length}, {:length} by"
                " {:length}. They are equally near, so the thinner one counts.",
                SHORTFALLS_MM[2],
                below,
                SHORTFALLS_MM[2] - below,
                above,
                above - SHORTFALLS_MM[2],
            ),
        ),
        results=(
            build_result(
                "First pad", "text", _list_plates(computed.counts[0]), "1/4 + 1/8 in"
            ),
            build_result(
                "Second pad", "text", _list_plates(computed.counts[1]), "1/4 + 1/16 in"
            ),
            build_result(
                "Third pad", "text", _list_plates(computed.counts[2]), "1/8 + 1/16 in"
            ),
            build_result(
                "Remainder at the third",
                "+length",
                computed.residual_mm[2],
                below - SHORTFALLS_MM[2],
            ),
        ),
    )


def calculate_pack_list() -> Calculation:
    """Add up the plates of the stacks."""
    stacks = find_shim_stacks(SHORTFALLS_MM, PLATES_MM)
    computed = count_pack_list(stacks.counts)
    names = ("1/16 in", "1/8 in", "1/4 in")
    return Calculation(
        inputs=(
            describe_input(
                "Stacks",
                "{}; {}; {}",
                _list_plates(stacks.counts[0]),
                _list_plates(stacks.counts[1]),
                _list_plates(stacks.counts[2]),
            ),
        ),
        steps=(
            write_text("The plates of each thickness are added up over all stacks."),
        ),
        results=tuple(
            build_result(
                f"Plates of {name}", "0", count, int(stacks.counts[:, i].sum())
            )
            for i, (name, count) in enumerate(zip(names, computed, strict=True))
        ),
    )


def calculate_high_pad() -> Calculation:
    """Calculate the effect of lowering one pad."""
    # As it is, four pads need shims; with the first one lowered, only one does.
    height = np.array([12.0, 2.0, 0.0, 1.0, -4.0]) * INCH_MM / 32.0
    limit = resolve_limits(ToleranceSpec()).pad_level()
    computed = find_pad_to_lower(height, WITHOUT_NOISE_MM, limit)
    if computed is None:
        raise RuntimeError("the example's high pad is not detected")
    low = int(np.sum(height[0] - height > limit))
    after = int(np.sum(height[1] - height > limit))
    return Calculation(
        inputs=(
            describe_input("Heights in 32nds of an inch", "12, 2, 0, 1, −4"),
            describe_input("Allowed below the highest", "{:length}", limit),
        ),
        steps=(
            write_text(
                "Below the first by more than {:length}: {:0} pads to shim.", limit, low
            ),
            write_text("Below the second by more: {:0}.", after),
            write_text("More than half of the shims are saved, so it is offered."),
        ),
        results=(
            build_result(
                "Lower the first pad by",
                "length",
                computed.lower_by_mm,
                height[0] - height[1],
            ),
            build_result("Pads to shim as it is", "0", computed.shims_needed, low),
            build_result("Shims saved", "0", computed.shims_saved, low - after),
        ),
    )
