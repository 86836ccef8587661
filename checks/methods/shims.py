"""Shims: the stack under each pad, the list to order, the one pad that stands high."""

import numpy as np

from checks.engine import cautions
from checks.engine.shim_choice import stacks_around
from checks.engine.shims import lower_one_pad, pack_list, shim_stacks
from checks.methods.model import (
    INCH,
    Example,
    Method,
    Piece,
    Result,
    Source,
    Symbol,
    amount,
    given,
    length,
    said,
    words,
)
from checks.methods.notation import formula, sign, total
from checks.tolerances import limits_for
from jobs.plan.model import Tolerances

PRACTICE = Source(
    "columns are raised and never lowered; the nearest stack, the thinner of two"
    " equally near, in the fewest plates, thicker ones first",
    "common practice",
)
PLATES = np.array([1.0, 2.0, 4.0]) * INCH / 16.0
SHORT = np.array([12.0, 10.0, 7.0]) * INCH / 32.0


def _plates(counts: np.ndarray) -> Piece:
    """Write a stack's plates, thickest first."""
    names = ("1/16", "1/8", "1/4")
    each = [names[i] for i in (2, 1, 0) for _ in range(int(counts[i]))]
    return words(" + ".join(each) + " in")


def _stacks() -> Example:
    found = shim_stacks(SHORT, PLATES)
    below, above = stacks_around(SHORT[2], PLATES)
    return Example(
        title="Three low pads",
        given=(
            given("Below the highest", length(SHORT[0]), "; ", length(SHORT[1]), "; ",
                  length(SHORT[2])),
            given("Plates on hand", length(PLATES[0]), "; ", length(PLATES[1]), "; ",
                  length(PLATES[2])),
        ),
        steps=(
            said(length(SHORT[0]), " and ", length(SHORT[1]), " can be made exactly."),
            said(
                "About ", length(SHORT[2]), ": ", length(below), " is off by ",
                length(SHORT[2] - below), ", ", length(above), " by ",
                length(above - SHORT[2]), ": equally near, so the thinner.",
            ),
        ),
        results=(
            Result("First pad", _plates(found.counts[0]), words("1/4 + 1/8 in")),
            Result("Second pad", _plates(found.counts[1]), words("1/4 + 1/16 in")),
            Result("Third pad", _plates(found.counts[2]), words("1/8 + 1/16 in")),
            Result("Left over at the third",
                   length(found.residual_mm[2], signed=True),
                   length(below - SHORT[2], signed=True)),
        ),
    )  # fmt: skip


def _packed() -> Example:
    stacks = shim_stacks(SHORT, PLATES)
    found = pack_list(stacks.counts)
    names = ("1/16 in", "1/8 in", "1/4 in")
    return Example(
        title="The same three pads",
        given=(
            given("Stacks", _plates(stacks.counts[0]), "; ", _plates(stacks.counts[1]),
                  "; ", _plates(stacks.counts[2])),
        ),
        steps=(said("Each thickness is counted over all stacks."),),
        results=tuple(
            Result(f"Plates of {name}", amount(count, "", 0),
                   amount(int(stacks.counts[:, i].sum()), "", 0))
            for i, (name, count) in enumerate(zip(names, found, strict=True))
        ),
    )  # fmt: skip


def _lowered() -> Example:
    height = np.array([12.0, 2.0, 0.0, 1.0, -4.0]) * INCH / 32.0
    limit = limits_for(Tolerances()).pad_level()
    found = lower_one_pad(height, limit)
    if found is None:
        raise RuntimeError("the example's high pad is not found")
    low = int(np.sum(height[0] - height > limit))
    after = int(np.sum(height[1] - height > limit))
    return Example(
        title="Five pads, the first one high",
        given=(
            given("Heights in 32nds of an inch", "12, 2, 0, 1, −4"),
            given("Allowed below the highest", length(limit)),
        ),
        steps=(
            said("Below the first by more than ", length(limit), ": ",
                 amount(low, "", 0), " pads to shim."),
            said("Below the second by more: ", amount(after, "", 0), "."),
            said("More than half are saved, so it is offered."),
        ),
        results=(
            Result("Lower the first pad by", length(found.lower_by_mm),
                   length(height[0] - height[1])),
            Result("Pads to shim as it is", amount(found.shims_needed, "", 0),
                   amount(low, "", 0)),
            Result("Shims saved", amount(found.shims_saved, "", 0),
                   amount(low - after, "", 0)),
        ),
    )  # fmt: skip


METHODS = (
    Method(
        slug="shim-stacks",
        name="Shim stacks",
        answers="The plates that bring a low pad nearest to the highest.",
        engine=("shims", "shim_choice"),
        formulas=(
            formula('"nearest to" S ":"', total("", "n_i t_i")),
            formula('"then fewest" ', total("", "n_i")),
        ),
        symbols=(
            Symbol(sign("S"), "shortfall below the highest pad", "mm"),
            Symbol(sign("t_i"), "thicknesses on hand", "mm"),
            Symbol(sign("n_i"), "plates of each, any number"),
        ),
        sources=(
            PRACTICE,
            Source("1/8 in below the highest is left as it is; up to 1/2 in is shimmed",
                   "common practice"),
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
    Method(
        slug="pack-list",
        name="Shim pack list",
        answers="How many plates of each thickness the whole building takes.",
        engine=("shims",),
        formulas=(formula("N_i =", total("", "n_{i p}")),),
        symbols=(
            Symbol(sign("N_i"), "plates of one thickness to order"),
            Symbol(sign("n_{i p}"), "of it under each pad"),
        ),
        sources=(Source("a sum", "ours"),),
        limits=("No spares are counted. Pads not measured yet are not in it.",),
        examples=(_packed,),
    ),
    Method(
        slug="lower-one-pad",
        name="Lowering one high pad",
        answers="Whether one pad alone forces most of the shims.",
        engine=("shims",),
        formulas=(formula("2 (n_1 − n_2) > n_1"),),
        symbols=(
            Symbol(sign("n_1"), "pads to shim, the highest as it is"),
            Symbol(sign("n_2"), "pads to shim, it lowered to the next highest"),
        ),
        sources=(Source("cutting one pad instead of shimming the rest",
                        "common practice"),
                 Source("offered where more than half of the shims are saved", "ours")),
        limits=(
            "An alternative beside the shims, never the first proposal: it cuts cast"
            " concrete, and shims are undone in a minute.",
            "Not where two pads stand equally high.",
        ),
        examples=(_lowered,),
        cautions=(cautions.SCREENING, cautions.DRILLING),
    ),
)  # fmt: skip
