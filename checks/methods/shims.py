"""Shims: the stack under each pad, the list to order, the one pad that stands high."""

import numpy as np

from checks.engine import cautions
from checks.engine.levelling.shim_choice import find_stacks_around
from checks.engine.levelling.shims import (
    count_pack_list,
    find_pad_to_lower,
    find_shim_stacks,
)
from checks.engine.sources import Provenance
from checks.methods.mathml import render_formula, render_sum, render_symbol
from checks.methods.model import (
    INCH_MM,
    Example,
    ExampleResult,
    ExampleValue,
    MethodDescription,
    MethodSource,
    Symbol,
    describe_input,
    show_length,
    show_quantity,
    show_text,
    write_text,
)
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.values import ToleranceSpec

PRACTICE = MethodSource(
    "columns are raised and never lowered; the nearest stack, the thinner of two"
    " equally near, in the fewest plates, thicker ones first",
    Provenance.COMMON_PRACTICE,
)
PLATES = np.array([1.0, 2.0, 4.0]) * INCH_MM / 16.0
SHORT = np.array([12.0, 10.0, 7.0]) * INCH_MM / 32.0


def _plates(counts: np.ndarray) -> ExampleValue:
    """Write a stack's plates, thickest first."""
    names = ("1/16", "1/8", "1/4")
    each = [names[i] for i in (2, 1, 0) for _ in range(int(counts[i]))]
    return show_text(" + ".join(each) + " in")


def _stacks() -> Example:
    found = find_shim_stacks(SHORT, PLATES)
    below, above = find_stacks_around(SHORT[2], PLATES)
    return Example(
        title="Three low pads",
        inputs=(
            describe_input(
                "Below the highest",
                show_length(SHORT[0]),
                "; ",
                show_length(SHORT[1]),
                "; ",
                show_length(SHORT[2]),
            ),
            describe_input(
                "Plates on hand",
                show_length(PLATES[0]),
                "; ",
                show_length(PLATES[1]),
                "; ",
                show_length(PLATES[2]),
            ),
        ),
        steps=(
            write_text(
                show_length(SHORT[0]),
                " and ",
                show_length(SHORT[1]),
                " can be made exactly.",
            ),
            write_text(
                "About ",
                show_length(SHORT[2]),
                ": ",
                show_length(below),
                " is off by ",
                show_length(SHORT[2] - below),
                ", ",
                show_length(above),
                " by ",
                show_length(above - SHORT[2]),
                ": equally near, so the thinner.",
            ),
        ),
        results=(
            ExampleResult(
                "First pad", _plates(found.counts[0]), show_text("1/4 + 1/8 in")
            ),
            ExampleResult(
                "Second pad", _plates(found.counts[1]), show_text("1/4 + 1/16 in")
            ),
            ExampleResult(
                "Third pad", _plates(found.counts[2]), show_text("1/8 + 1/16 in")
            ),
            ExampleResult(
                "Left over at the third",
                show_length(found.residual_mm[2], signed=True),
                show_length(below - SHORT[2], signed=True),
            ),
        ),
    )


def _packed() -> Example:
    stacks = find_shim_stacks(SHORT, PLATES)
    found = count_pack_list(stacks.counts)
    names = ("1/16 in", "1/8 in", "1/4 in")
    return Example(
        title="The same three pads",
        inputs=(
            describe_input(
                "Stacks",
                _plates(stacks.counts[0]),
                "; ",
                _plates(stacks.counts[1]),
                "; ",
                _plates(stacks.counts[2]),
            ),
        ),
        steps=(write_text("Each thickness is counted over all stacks."),),
        results=tuple(
            ExampleResult(
                f"Plates of {name}",
                show_quantity(count, "", 0),
                show_quantity(int(stacks.counts[:, i].sum()), "", 0),
            )
            for i, (name, count) in enumerate(zip(names, found, strict=True))
        ),
    )


def _lowered() -> Example:
    height = np.array([12.0, 2.0, 0.0, 1.0, -4.0]) * INCH_MM / 32.0
    limit = resolve_limits(ToleranceSpec()).pad_level()
    found = find_pad_to_lower(height, limit)
    if found is None:
        raise RuntimeError("the example's high pad is not found")
    low = int(np.sum(height[0] - height > limit))
    after = int(np.sum(height[1] - height > limit))
    return Example(
        title="Five pads, the first one high",
        inputs=(
            describe_input("Heights in 32nds of an inch", "12, 2, 0, 1, −4"),
            describe_input("Allowed below the highest", show_length(limit)),
        ),
        steps=(
            write_text(
                "Below the first by more than ",
                show_length(limit),
                ": ",
                show_quantity(low, "", 0),
                " pads to shim.",
            ),
            write_text("Below the second by more: ", show_quantity(after, "", 0), "."),
            write_text("More than half are saved, so it is offered."),
        ),
        results=(
            ExampleResult(
                "Lower the first pad by",
                show_length(found.lower_by_mm),
                show_length(height[0] - height[1]),
            ),
            ExampleResult(
                "Pads to shim as it is",
                show_quantity(found.shims_needed, "", 0),
                show_quantity(low, "", 0),
            ),
            ExampleResult(
                "Shims saved",
                show_quantity(found.shims_saved, "", 0),
                show_quantity(low - after, "", 0),
            ),
        ),
    )


METHODS = (
    MethodDescription(
        slug="shim-stacks",
        name="Shim stacks",
        summary="The plates that bring a low pad nearest to the highest.",
        engine=("levelling.shims", "levelling.shim_choice"),
        formulas=(
            render_formula('"nearest to" S ":"', render_sum("", "n_i t_i")),
            render_formula('"then fewest" ', render_sum("", "n_i")),
        ),
        symbols=(
            Symbol(render_symbol("S"), "shortfall below the highest pad", "mm"),
            Symbol(render_symbol("t_i"), "thicknesses on hand", "mm"),
            Symbol(render_symbol("n_i"), "plates of each, any number"),
        ),
        sources=(
            PRACTICE,
            MethodSource(
                "1/8 in below the highest is left as it is; up to 1/2 in is shimmed",
                Provenance.COMMON_PRACTICE,
            ),
        ),
        limits=(
            "Beyond what is shimmed it is the engineer's: grout, plate or re-casting.",
            "A stack that leaves the pad outside its limit, or of more than a thousand"
            " plates, is not proposed.",
            "Where limits are guarded, a pad outside the shrunk one is shimmed.",
            "Nothing here says how a stack is held or grouted.",
        ),
        examples=(_stacks,),
        cautions=(cautions.UNDER_PLATE, cautions.NOTICES),
    ),
    MethodDescription(
        slug="pack-list",
        name="Shim pack list",
        summary="How many plates of each thickness the whole building takes.",
        engine=("levelling.shims",),
        formulas=(render_formula("N_i =", render_sum("", "n_{i p}")),),
        symbols=(
            Symbol(render_symbol("N_i"), "plates of one thickness to order"),
            Symbol(render_symbol("n_{i p}"), "of it under each pad"),
        ),
        sources=(MethodSource("a sum", Provenance.PROJECT_CHOICE),),
        limits=("No spares are counted. Pads not measured yet are not in it.",),
        examples=(_packed,),
    ),
    MethodDescription(
        slug="lower-one-pad",
        name="Lowering one high pad",
        summary="Whether one pad alone forces most of the shims.",
        engine=("levelling.shims",),
        formulas=(render_formula("2 (n_1 − n_2) > n_1"),),
        symbols=(
            Symbol(render_symbol("n_1"), "pads to shim, the highest as it is"),
            Symbol(
                render_symbol("n_2"), "pads to shim, it lowered to the next highest"
            ),
        ),
        sources=(
            MethodSource(
                "cutting one pad instead of shimming the rest",
                Provenance.COMMON_PRACTICE,
            ),
            MethodSource(
                "offered where more than half of the shims are saved",
                Provenance.PROJECT_CHOICE,
            ),
        ),
        limits=(
            "An alternative beside the shims, never the first proposal: it cuts cast"
            " concrete, and shims are undone in a minute.",
            "Not where two pads stand equally high.",
        ),
        examples=(_lowered,),
        cautions=(cautions.SCREENING, cautions.DRILLING),
    ),
)
