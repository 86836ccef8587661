"""Threads: is the nut full, what counts if not, and how strong is the rod."""

from math import pi

import numpy as np

from checks.engine import cautions
from checks.engine.fasteners import find_thread, list_washers
from checks.engine.sources import Provenance
from checks.engine.thread_engagement import MIN_ENGAGED_FRACTION, compute_engagement
from checks.methods.mathml import (
    render_formula,
    render_fraction,
    render_parentheses,
    render_power,
    render_symbol,
)
from checks.methods.model import (
    INCH_MM,
    Example,
    ExampleResult,
    MethodDescription,
    MethodSource,
    Symbol,
    describe_input,
    show_fine_length,
    show_length,
    show_quantity,
    write_text,
)

NUT = MethodSource("heavy hex nuts: ASME B18.2.2", Provenance.SECOND_HAND)
WASHERS = MethodSource("type A plain washers: ASME B18.21.1", Provenance.SECOND_HAND)
ENGAGED = MethodSource(
    "AISC Design Guide 1, 2nd ed.: pro rata, and only from half the nut on",
    Provenance.SECOND_HAND,
)
ROD, PLATE = 3.0 * INCH_MM / 4.0, INCH_MM / 2.0


def _hardware() -> tuple[float, float]:
    """Greatest nut and thickest washer of a 3/4 in rod, as a building's are taken."""
    thread = find_thread(ROD)
    if thread is None:
        raise RuntimeError("the table has no 3/4 in rod")
    return thread.nut_max_mm, max(each.thickness_mm for each in list_washers(ROD))


def _left() -> Example:
    nut, washer = _hardware()
    stands, shim = 1.75 * INCH_MM, INCH_MM / 4.0
    found = compute_engagement(stands, np.array([0.0, shim]), PLATE, washer, nut)
    by_hand = [stands - each - PLATE - washer - nut for each in (0.0, shim)]
    return Example(
        title="A 3/4 in rod before and after a shim, its nut from the table",
        inputs=(
            describe_input("Projection", show_length(stands)),
            describe_input("Plate", show_length(PLATE)),
            describe_input("Washer, the thickest listed", show_fine_length(washer)),
            describe_input("Nut, at its thickest", show_fine_length(nut)),
            describe_input("Shim", show_length(shim)),
        ),
        steps=(
            write_text(
                show_length(stands),
                " − ",
                show_length(PLATE),
                " − ",
                show_fine_length(washer),
                " − ",
                show_fine_length(nut),
                " = ",
                show_fine_length(by_hand[0]),
                ".",
            ),
            write_text(
                "Less the shim of ",
                show_length(shim),
                ": ",
                show_fine_length(by_hand[1]),
                ".",
            ),
        ),
        results=(
            ExampleResult(
                "Nut at its thickest",
                show_fine_length(nut),
                published=show_fine_length(0.758 * INCH_MM),
            ),
            ExampleResult(
                "Thread left without a shim",
                show_fine_length(found.spare_mm[0]),
                show_fine_length(by_hand[0]),
            ),
            ExampleResult(
                "Thread left with it",
                show_fine_length(found.spare_mm[1]),
                show_fine_length(by_hand[1]),
            ),
        ),
        source=NUT,
    )


def _short() -> Example:
    nut, washer = _hardware()
    stands = np.array([1.25, 0.875]) * INCH_MM
    found = compute_engagement(stands, 0.0, PLATE, washer, nut)
    share = (stands - PLATE - washer) / nut
    return Example(
        title="Two short 3/4 in rods",
        inputs=(
            describe_input(
                "Projections", show_length(stands[0]), " and ", show_length(stands[1])
            ),
            describe_input("Plate", show_length(PLATE)),
            describe_input("Washer", show_fine_length(washer)),
            describe_input("Nut, at its thickest", show_fine_length(nut)),
        ),
        steps=(
            write_text(
                "(",
                show_length(stands[0]),
                " − ",
                show_length(PLATE),
                " − ",
                show_fine_length(washer),
                ") ÷ ",
                show_fine_length(nut),
                " = ",
                show_quantity(100.0 * share[0], "%", 1),
                ".",
            ),
            write_text(
                "(",
                show_length(stands[1]),
                " − ",
                show_length(PLATE),
                " − ",
                show_fine_length(washer),
                ") ÷ ",
                show_fine_length(nut),
                " = ",
                show_quantity(100.0 * share[1], "%", 1),
                ", less than half.",
            ),
        ),
        results=(
            ExampleResult(
                "Thread missing at the first",
                show_fine_length(found.missing_mm[0]),
                show_fine_length(nut * (1.0 - share[0])),
            ),
            ExampleResult(
                "Of its nut engaged",
                show_quantity(100.0 * found.engaged[0], "%", 1),
                show_quantity(100.0 * share[0], "%", 1),
            ),
            ExampleResult(
                "Credited, first",
                show_quantity(100.0 * found.credited[0], "%", 1),
                show_quantity(100.0 * share[0], "%", 1),
            ),
            ExampleResult(
                "Credited, second",
                show_quantity(100.0 * found.credited[1], "%", 1),
                show_quantity(
                    100.0 * share[1] * (share[1] >= MIN_ENGAGED_FRACTION), "%", 1
                ),
            ),
        ),
    )


def _areas() -> Example:
    sizes = {"3/4 in": (0.75, 10.0, 0.334), "1 in": (1.0, 8.0, 0.606)}
    results = []
    for name, (inches, per_inch, table) in sizes.items():
        thread = find_thread(inches * INCH_MM)
        if thread is None:
            raise RuntimeError(f"the table has no {name} rod")
        by_hand = pi / 4.0 * (inches - 0.9743 / per_inch) ** 2
        results.append(
            ExampleResult(
                f"Stress area, {name}",
                show_quantity(thread.stress_area_mm2 / INCH_MM**2, "in²", 4),
                show_quantity(by_hand, "in²", 4),
                show_quantity(table, "in²", 3),
            )
        )
    return Example(
        title="Two sizes of the coarse series",
        source=MethodSource("ASME B1.1, tabulated", Provenance.SECOND_HAND),
        inputs=(
            describe_input("3/4 in", "10 threads an inch"),
            describe_input("1 in", "8 threads an inch"),
        ),
        steps=(
            write_text("π ÷ 4 × (0.75 − 0.9743 ÷ 10)²."),
            write_text("π ÷ 4 × (1 − 0.9743 ÷ 8)²."),
        ),
        results=tuple(results),
    )


METHODS = (
    MethodDescription(
        slug="thread-check",
        name="Thread check",
        summary="How much thread stands above the nut, before and after the shims.",
        engine=("thread_engagement", "fasteners"),
        formulas=(render_formula("left = P − s − p − w − n"),),
        symbols=(
            Symbol(
                render_symbol("P"), "projection, as measured or else as planned", "mm"
            ),
            Symbol(render_symbol("s"), "shim", "mm"),
            Symbol(render_symbol("p"), "base plate", "mm"),
            Symbol(render_symbol("w"), "washer, the thickest type A listed", "mm"),
            Symbol(render_symbol("n"), "heavy hex nut at its thickest", "mm"),
        ),
        sources=(
            MethodSource(
                "full engagement: the rod's end flush with the nut, or beyond",
                Provenance.COMMON_PRACTICE,
            ),
            NUT,
            WASHERS,
            MethodSource("type A washers above 7/8 in", Provenance.FROM_MEMORY),
        ),
        limits=(
            "The thread must reach down to the nut, which nobody measures.",
            "A diameter the tables do not list, or a plate of unknown thickness, gives"
            " no answer.",
            "The projection's own limit, ±1/2 in, is one of placing, judged apart.",
        ),
        examples=(_left,),
    ),
    MethodDescription(
        slug="partial-engagement",
        name="Projection, and a nut not full",
        summary="What thread is missing, and how much of the nut still counts.",
        engine=("thread_engagement", "remedies.projection"),
        formulas=(
            render_formula("e =", render_fraction("P − s − p − w", "n")),
            render_formula(
                '"counts:" e "if" e ≥', render_fraction("1", "2"), ', "else" 0'
            ),
        ),
        symbols=(
            Symbol(render_symbol("e"), "share of the nut that is engaged, at most 1"),
            Symbol(render_symbol("P , s , p , w , n"), "as in the thread check", "mm"),
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
    MethodDescription(
        slug="stress-area",
        name="Tensile stress area of a rod",
        summary="How much steel carries tension in the threads.",
        engine=("fasteners",),
        formulas=(
            render_formula(
                "A_s =",
                render_fraction("π", "4"),
                render_power(
                    render_parentheses("d −", render_fraction("0.9743", "n")), "2"
                ),
            ),
        ),
        symbols=(
            Symbol(render_symbol("A_s"), "tensile stress area", "in²"),
            Symbol(render_symbol("d"), "diameter", "in"),
            Symbol(render_symbol("n"), "threads per inch"),
        ),
        sources=(MethodSource("ASME B1.1", Provenance.SECOND_HAND),),
        limits=("Inch sizes of the coarse series; no others.",),
        examples=(_areas,),
    ),
)
