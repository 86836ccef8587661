"""Threads: is the nut full, what counts if not, and how strong is the rod."""

from math import pi

import numpy as np

from checks.engine import cautions
from checks.engine.fasteners import thread_of, washers_of
from checks.engine.projection import LEAST_ENGAGED, threads
from checks.methods.model import (
    INCH,
    Example,
    Method,
    Result,
    Source,
    Symbol,
    amount,
    fine,
    given,
    length,
    said,
)
from checks.methods.notation import around, formula, frac, raised, sign

NUT = Source("heavy hex nuts: ASME B18.2.2", "published, seen second-hand")
WASHERS = Source("type A plain washers: ASME B18.21.1", "published, seen second-hand")
ENGAGED = Source(
    "AISC Design Guide 1, 2nd ed.: pro rata, and only from half the nut on",
    "published, seen second-hand",
)
ROD, PLATE = 3.0 * INCH / 4.0, INCH / 2.0


def _hardware() -> tuple[float, float]:
    """Greatest nut and thickest washer of a 3/4 in rod, as a building's are taken."""
    thread = thread_of(ROD)
    if thread is None:
        raise RuntimeError("the table has no 3/4 in rod")
    return thread.nut_max_mm, max(each.thickness_mm for each in washers_of(ROD))


def _left() -> Example:
    nut, washer = _hardware()
    stands, shim = 1.75 * INCH, INCH / 4.0
    found = threads(stands, np.array([0.0, shim]), PLATE, washer, nut)
    by_hand = [stands - each - PLATE - washer - nut for each in (0.0, shim)]
    return Example(
        title="A 3/4 in rod before and after a shim, its nut from the table",
        given=(
            given("Projection", length(stands)),
            given("Plate", length(PLATE)),
            given("Washer, the thickest listed", fine(washer)),
            given("Nut, at its thickest", fine(nut)),
            given("Shim", length(shim)),
        ),
        steps=(
            said(length(stands), " − ", length(PLATE), " − ", fine(washer), " − ",
                 fine(nut), " = ", fine(by_hand[0]), "."),
            said("Less the shim of ", length(shim), ": ", fine(by_hand[1]), "."),
        ),
        results=(
            Result("Nut at its thickest", fine(nut), published=fine(0.758 * INCH)),
            Result("Thread left without a shim", fine(found.left_over_mm[0]),
                   fine(by_hand[0])),
            Result("Thread left with it", fine(found.left_over_mm[1]),
                   fine(by_hand[1])),
        ),
        source=NUT,
    )  # fmt: skip


def _short() -> Example:
    nut, washer = _hardware()
    stands = np.array([1.25, 0.875]) * INCH
    found = threads(stands, 0.0, PLATE, washer, nut)
    share = (stands - PLATE - washer) / nut
    return Example(
        title="Two short 3/4 in rods",
        given=(
            given("Projections", length(stands[0]), " and ", length(stands[1])),
            given("Plate", length(PLATE)),
            given("Washer", fine(washer)),
            given("Nut, at its thickest", fine(nut)),
        ),
        steps=(
            said("(", length(stands[0]), " − ", length(PLATE), " − ", fine(washer),
                 ") ÷ ", fine(nut), " = ", amount(100.0 * share[0], "%", 1), "."),
            said("(", length(stands[1]), " − ", length(PLATE), " − ", fine(washer),
                 ") ÷ ", fine(nut), " = ", amount(100.0 * share[1], "%", 1),
                 ", less than half."),
        ),
        results=(
            Result("Thread missing at the first", fine(found.missing_mm[0]),
                   fine(nut * (1.0 - share[0]))),
            Result("Of its nut engaged", amount(100.0 * found.engaged[0], "%", 1),
                   amount(100.0 * share[0], "%", 1)),
            Result("Credited, first", amount(100.0 * found.credited[0], "%", 1),
                   amount(100.0 * share[0], "%", 1)),
            Result("Credited, second", amount(100.0 * found.credited[1], "%", 1),
                   amount(100.0 * share[1] * (share[1] >= LEAST_ENGAGED), "%", 1)),
        ),
    )  # fmt: skip


def _areas() -> Example:
    sizes = {"3/4 in": (0.75, 10.0, 0.334), "1 in": (1.0, 8.0, 0.606)}
    results = []
    for name, (inches, per_inch, table) in sizes.items():
        thread = thread_of(inches * INCH)
        if thread is None:
            raise RuntimeError(f"the table has no {name} rod")
        by_hand = pi / 4.0 * (inches - 0.9743 / per_inch) ** 2
        results.append(
            Result(f"Stress area, {name}",
                   amount(thread.stress_area_mm2 / INCH**2, "in²", 4),
                   amount(by_hand, "in²", 4), amount(table, "in²", 3))
        )  # fmt: skip
    return Example(
        title="Two sizes of the coarse series",
        source=Source("ASME B1.1, tabulated", "published, seen second-hand"),
        given=(
            given("3/4 in", "10 threads an inch"),
            given("1 in", "8 threads an inch"),
        ),
        steps=(
            said("π ÷ 4 × (0.75 − 0.9743 ÷ 10)²."),
            said("π ÷ 4 × (1 − 0.9743 ÷ 8)²."),
        ),
        results=tuple(results),
    )


METHODS = (
    Method(
        slug="thread-check",
        name="Thread check",
        answers="How much thread stands above the nut, before and after the shims.",
        engine=("projection", "fasteners"),
        formulas=(formula("left = P − s − p − w − n"),),
        symbols=(
            Symbol(sign("P"), "projection, as measured or else as planned", "mm"),
            Symbol(sign("s"), "shim", "mm"),
            Symbol(sign("p"), "base plate", "mm"),
            Symbol(sign("w"), "washer, the thickest type A listed", "mm"),
            Symbol(sign("n"), "heavy hex nut at its thickest", "mm"),
        ),
        sources=(
            Source("full engagement: the rod's end flush with the nut, or beyond",
                   "common practice"),
            NUT,
            WASHERS,
            Source("type A washers above 7/8 in", "from memory"),
        ),
        limits=(
            "The thread must reach down to the nut, which nobody measures.",
            "A diameter the tables do not list, or a plate of unknown thickness, gives"
            " no answer.",
            "The projection's own limit, ±1/2 in, is one of placing, judged apart.",
        ),
        examples=(_left,),
    ),
    Method(
        slug="partial-engagement",
        name="Projection, and a nut not full",
        answers="What thread is missing, and how much of the nut still counts.",
        engine=("projection", "surface_remedies"),
        formulas=(
            formula("e =", frac("P − s − p − w", "n")),
            formula('"counts:" e "if" e ≥', frac("1", "2"), ', "else" 0'),
        ),
        symbols=(
            Symbol(sign("e"), "share of the nut that is engaged, at most 1"),
            Symbol(sign("P , s , p , w , n"), "as in the thread check", "mm"),
        ),
        sources=(ENGAGED, NUT),
        limits=(
            "A screen: whether a rod may stay so is the engineer's to say.",
            "Too long is no structural matter unless the rod fouls the section:"
            " washers or spacers.",
        ),
        examples=(_short,),
        cautions=(cautions.SCREENING, cautions.RODS),
    ),
    Method(
        slug="stress-area",
        name="Tensile stress area of a rod",
        answers="How much steel carries tension in the threads.",
        engine=("fasteners",),
        formulas=(
            formula(
                "A_s =", frac("π", "4"),
                raised(around("d −", frac("0.9743", "n")), "2"),
            ),
        ),
        symbols=(
            Symbol(sign("A_s"), "tensile stress area", "in²"),
            Symbol(sign("d"), "diameter", "in"),
            Symbol(sign("n"), "threads per inch"),
        ),
        sources=(Source("ASME B1.1", "published, seen second-hand"),),
        limits=("Inch sizes of the coarse series; no others.",),
        examples=(_areas,),
    ),
)  # fmt: skip
