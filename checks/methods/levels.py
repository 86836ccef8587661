"""Heights: set-ups that close, lines between benchmarks, and the level's own errors."""

import numpy as np

from checks.engine.arrays import FloatArray, IntArray
from checks.engine.levelling.level_network import adjust_height_differences
from checks.engine.levelling.levels import (
    adjust_levels,
    compute_collimation,
    compute_sight_corrections,
)
from checks.engine.sources import Provenance
from checks.methods.mathml import (
    render_formula,
    render_fraction,
    render_parentheses,
    render_power,
    render_sum,
    render_symbol,
)
from checks.methods.model import (
    INCH_MM,
    Example,
    ExampleResult,
    ExampleValue,
    MethodDescription,
    MethodSource,
    Symbol,
    describe_input,
    show_conformity,
    show_length,
    show_quantity,
    write_text,
)
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.values import ToleranceSpec

NETS = MethodSource(
    "C. D. Ghilani, Adjustment Computations, 5th ed., 12.2 to 12.5",
    Provenance.FROM_MEMORY,
)
KRUMM = "quoted in F. Krumm, Geodetic Network Adjustment Examples, 2020"
NOTES = MethodSource("course notes on levelling", Provenance.SECOND_HAND)
QUESTIONS = MethodSource(
    "worked questions on the two-peg test, curioustab.com",
    Provenance.SECOND_HAND,
)


def _two_setups() -> Example:
    first, second = np.array([60.0, 62.0, 61.0]), np.array([70.0, 72.125, 74.0])
    read = np.concatenate([first, second]) * INCH_MM
    found = adjust_levels(read, [0, 0, 0, 1, 1, 1], [0, 1, 2, 0, 1, 3], 1.0)
    height, _ = found.relative_to(0)
    limit = resolve_limits(ToleranceSpec()).level_misclosure()
    apart = (second[1] - second[0] - first[1] + first[0]) * INCH_MM
    two = -((first[1] - first[0]) + (second[1] - second[0])) / 2.0 * INCH_MM
    by_hand = (
        two,
        two / 2.0 + (first[:2].mean() - first[2]) * INCH_MM,
        two / 2.0 + (second[:2].mean() - second[2]) * INCH_MM,
    )
    return Example(
        title="Two set-ups tied by two pads",
        inputs=(
            describe_input("Set-up 1 on pads 1, 2, 3", *_listed(first)),
            describe_input("Set-up 2 on pads 1, 2, 4", *_listed(second)),
        ),
        steps=(
            write_text(
                "Pad 2 below pad 1: ",
                show_length((first[1] - first[0]) * INCH_MM),
                " and ",
                show_length((second[1] - second[0]) * INCH_MM),
                ", the mean ",
                show_length(-two),
                ".",
            ),
            write_text("The two differ by ", show_length(apart), ": the misclosure."),
            write_text(
                "Pad 3 is read level with the mean of pads 1 and 2 in set-up 1: ",
                show_length(by_hand[1], signed=True),
                ".",
            ),
            write_text(
                "Pad 4 is read ",
                show_length((second[2] - second[:2].mean()) * INCH_MM),
                " below it in set-up 2: ",
                show_length(by_hand[2], signed=True),
                ".",
            ),
        ),
        results=(
            *(
                ExampleResult(
                    f"Height of pad {i + 2} from pad 1",
                    show_length(height[i + 1], signed=True),
                    show_length(hand, signed=True),
                )
                for i, hand in enumerate(by_hand)
            ),
            ExampleResult(
                "Misclosure", show_length(found.misclosure_mm), show_length(apart)
            ),
            ExampleResult("Allowed", show_length(limit)),
            ExampleResult(
                "The set-ups",
                show_conformity(found.misclosure_mm <= limit),
                show_conformity(apart <= limit),
            ),
        ),
    )


def _listed(inches: FloatArray) -> list[ExampleValue | str]:
    """Readings of one set-up, set apart."""
    parts: list[ExampleValue | str] = []
    for each in inches:
        parts += [show_length(each * INCH_MM), "; "]
    return parts[:-1]


def _lines(
    start: IntArray, end: IntArray, difference: FloatArray, names: str = "123456"
) -> str:
    """Write the lines of a net, points counted from 1."""
    return "; ".join(
        f"{names[a - 1]} to {names[b - 1]} {show_quantity(dh, '', 3, signed=True).text}"
        for a, b, dh in zip(start, end, difference, strict=True)
    )


def _ghilani() -> Example:
    start, end = np.array([0, 1, 2, 3, 1, 0]), np.array([1, 2, 3, 0, 3, 2])
    difference = np.array([10.509, 5.360, -8.523, -7.348, -3.167, 15.881])
    sd = np.array([0.006, 0.004, 0.005, 0.003, 0.004, 0.012])
    found = adjust_height_differences(start, end, difference, sd**-2, {0: 437.596})
    known = {"B": (448.1087, 2.30), "C": (453.4685, 2.64), "D": (444.9436, 1.76)}
    return Example(
        title="A net of six lines",
        source=MethodSource(
            f"C. D. Ghilani, Adjustment Computations, 5th ed., example 12.6; {KRUMM}",
            Provenance.SECOND_HAND,
        ),
        inputs=(
            describe_input("Benchmark A", "437.596 m"),
            describe_input(
                "Lines, in m", _lines(start + 1, end + 1, difference, "ABCD")
            ),
            describe_input("Standard deviations, in mm", "6, 4, 5, 3, 4, 12"),
        ),
        steps=(
            write_text("3 unknown heights, 6 lines: 3 to spare."),
            write_text(
                "Each line weighs by 1 over the square of its standard deviation."
            ),
        ),
        results=(
            *(
                ExampleResult(
                    f"Height of {name}",
                    show_quantity(found.height[i], "m", 4),
                    published=show_quantity(at, "m", 4),
                )
                for i, (name, (at, _)) in enumerate(known.items(), start=1)
            ),
            *(
                ExampleResult(
                    f"Standard deviation of {name}",
                    show_quantity(1e3 * found.sigma[i] * found.reference_sigma, "mm"),
                    published=show_quantity(deviation, "mm"),
                )
                for i, (name, (_, deviation)) in enumerate(known.items(), start=1)
            ),
        ),
    )


class _Niemeier:
    """The lines of a published net, points 1 to 6."""

    start = np.array([1, 1, 2, 2, 3, 3, 3, 4, 5])
    end = np.array([2, 3, 3, 4, 4, 5, 6, 5, 6])
    difference = np.array(
        [-8.206, -5.734, 2.481, -4.433, -6.909, -18.872, 4.035, -11.962, 22.904]
    )
    per_km = np.array([1.61, 0.83, 2.22, 1.25, 1.00, 0.91, 2.27, 1.39, 1.20])


def _niemeier() -> Example:
    net = _Niemeier
    found = adjust_height_differences(
        net.start - 1, net.end - 1, net.difference, net.per_km * 1e6, {5: 67.228}
    )
    known = (68.9235, 60.7153, 63.1938, 56.2838, 44.3226)
    worst = int(np.argmax(np.abs(found.w)))
    return Example(
        title="A net with a mistake in it",
        source=MethodSource(
            f"W. Niemeier, Ausgleichungsrechnung, 2nd ed., pp. 153-156; {KRUMM}",
            Provenance.SECOND_HAND,
        ),
        inputs=(
            describe_input("Benchmark 6", "67.228 m"),
            describe_input("Lines, in m", _lines(net.start, net.end, net.difference)),
            describe_input(
                "Weights, per km", ", ".join(f"{one:.2f}" for one in net.per_km)
            ),
            describe_input("Standard deviation", "1 mm for 1 km"),
        ),
        steps=(
            write_text("5 unknown heights, 9 lines: 4 to spare."),
            write_text(
                "Lines 1-2 and 1-3 share one |w|, ",
                show_quantity(abs(found.w[0]), "", 3),
                ": point 1 has no other, and they cannot be told apart.",
            ),
        ),
        results=(
            *(
                ExampleResult(
                    f"Height of {i + 1}",
                    show_quantity(found.height[i], "m", 4),
                    published=show_quantity(at, "m", 4),
                )
                for i, at in enumerate(known)
            ),
            ExampleResult("Largest w, line 2-3", show_quantity(found.w[worst], "", 3)),
        ),
    )


def _two_pegs() -> Example:
    near, far, at = 1110.0, 1390.0, np.array([10.0, 90.0])
    found = float(
        compute_collimation(near, far, at[0] * 1e3, at[1] * 1e3, 1560.0 - 1320.0)
    )
    read = np.array([near, far])
    corrected = read + compute_sight_corrections(at * 1e3, [0, 1], found)
    return Example(
        title="Pegs 80 m apart, then the level 10 m beyond A",
        source=QUESTIONS,
        inputs=(
            describe_input("Midway, on A and B", "1.320 m and 1.560 m"),
            describe_input("From beyond A, on A and B", "1.110 m and 1.390 m"),
            describe_input("Sights from there", "10 m and 90 m"),
        ),
        steps=(
            write_text("True difference: 1.560 − 1.320 = 0.240 m."),
            write_text("Apparent: 1.390 − 1.110 = 0.280 m."),
            write_text("(0.280 − 0.240) ÷ (90 − 10) = 0.04 ÷ 80."),
        ),
        results=(
            ExampleResult(
                "Collimation",
                show_quantity(found * 100.0, "m per 100 m", 3),
                show_quantity(0.04 / 80.0 * 100.0, "m per 100 m", 3),
                show_quantity(0.05, "m per 100 m"),
            ),
            ExampleResult(
                "Corrected reading on A",
                show_quantity(corrected[0] / 1e3, "m", 3),
                show_quantity(1.110 - 0.0005 * 10.0, "m", 3),
                show_quantity(1.105, "m", 3),
            ),
            ExampleResult(
                "Corrected reading on B",
                show_quantity(corrected[1] / 1e3, "m", 3),
                show_quantity(1.390 - 0.0005 * 90.0, "m", 3),
                show_quantity(1.345, "m", 3),
            ),
        ),
    )


def _curved() -> Example:
    far = compute_sight_corrections([0.0, 2.5e6], [0, 0])
    site = compute_sight_corrections([0.0, 100e3], [0, 0])
    return Example(
        title="A sight of 2.5 km, and one of 100 m",
        source=NOTES,
        inputs=(
            describe_input("Far sight", "2.5 km, the other none"),
            describe_input("On site", "100 m, the other none"),
        ),
        steps=(
            write_text("0.0673 × 2.5² = ", show_quantity(0.0673 * 2.5**2, "m", 3), "."),
            write_text("0.0673 × 0.1² = ", show_quantity(67.3 * 0.1**2, "mm", 3), "."),
        ),
        results=(
            ExampleResult(
                "Reads high at 2.5 km by",
                show_quantity(-far[1] / 1e3, "m", 3),
                show_quantity(0.0673 * 2.5**2, "m", 3),
                show_quantity(0.420, "m", 3),
            ),
            ExampleResult(
                "Reads high at 100 m by",
                show_quantity(-site[1], "mm", 3),
                show_quantity(67.3 * 0.1**2, "mm", 3),
            ),
        ),
    )


METHODS = (
    MethodDescription(
        slug="levels",
        name="Heights of pads from all set-ups",
        summary="How far each pad lies below the highest, and whether set-ups close.",
        engine=("levelling.levels",),
        formulas=(
            render_formula("y = I_s − H_p + v"),
            render_formula(
                '"least" ',
                render_sum(
                    "", render_power(render_parentheses(render_fraction("v", "u")), "2")
                ),
            ),
        ),
        symbols=(
            Symbol(render_symbol("y"), "grade-rod reading; larger is lower", "mm"),
            Symbol(
                render_symbol("I_s"), "height of the line of sight of a set-up", "mm"
            ),
            Symbol(render_symbol("H_p"), "height of a pad", "mm"),
            Symbol(render_symbol("v"), "what is left over", "mm"),
            Symbol(render_symbol("u"), "standard uncertainty of the reading", "mm"),
        ),
        sources=(
            NETS,
            MethodSource(
                "0.02 ft for the misclosure on construction work, a survey course note",
                Provenance.SECOND_HAND,
            ),
            MethodSource(
                "the misclosure is the largest over the loops through set-ups and pads",
                Provenance.PROJECT_CHOICE,
            ),
        ),
        limits=(
            "Set-ups are tied by pads or benchmarks read from both; a pad that nothing"
            " ties has no height.",
            "One set-up without repeats closes nothing: nobody would notice that it"
            " was knocked.",
            "Set-ups that do not close are to be measured again; no pad's verdict"
            " changes by that alone.",
        ),
        examples=(_two_setups,),
    ),
    MethodDescription(
        slug="level-lines",
        name="Lines between benchmarks",
        summary="The same for levelled differences: heights, and the line that errs.",
        engine=("levelling.level_network",),
        formulas=(
            render_formula("H_j − H_i = Δ + v"),
            render_formula(
                '"least" ',
                render_sum(
                    "", render_power(render_parentheses(render_fraction("v", "u")), "2")
                ),
            ),
        ),
        symbols=(
            Symbol(render_symbol("H"), "heights, those of benchmarks held", "m"),
            Symbol(render_symbol("Δ"), "difference as levelled", "m"),
            Symbol(render_symbol("v"), "what is left over", "m"),
            Symbol(render_symbol("u"), "standard uncertainty of the line", "m"),
        ),
        sources=(NETS,),
        limits=(
            "The general form that the heights of pads are held against; no verdict"
            " rests on it.",
            "Every point must be tied to a benchmark.",
        ),
        examples=(_ghilani, _niemeier),
    ),
    MethodDescription(
        slug="collimation",
        name="Collimation, by two pegs",
        summary="How much a level's line of sight climbs, and what to take off for it.",
        engine=("levelling.levels",),
        formulas=(
            render_formula("c =", render_fraction("Δ_a − Δ_t", "d_f − d_n")),
            render_formula("y − c d"),
        ),
        symbols=(
            Symbol(render_symbol("c"), "collimation, line of sight up positive", "rad"),
            Symbol(render_symbol("Δ_a"), "far peg's reading less the near one's", "mm"),
            Symbol(render_symbol("Δ_t"), "the same from midway, which is true", "mm"),
            Symbol(
                render_symbol("d_n , d_f"), "sights to the near and the far peg", "mm"
            ),
            Symbol(render_symbol("y"), "a reading, corrected for its sight d", "mm"),
        ),
        sources=(
            MethodSource(
                "C. D. Ghilani and P. R. Wolf, Elementary Surveying, two-peg test",
                Provenance.FROM_MEMORY,
            ),
            QUESTIONS,
        ),
        limits=(
            "Readings are corrected only in set-ups whose every sight is known.",
            "A reading that names no level is taken with the only one that its set-up"
            " names.",
            "Sights of equal length need no correction.",
        ),
        examples=(_two_pegs,),
    ),
    MethodDescription(
        slug="curvature",
        name="Curvature and refraction",
        summary="How much too high a rod is read far off, because the earth is round.",
        engine=("levelling.levels",),
        formulas=(render_formula("h = 0.0673 K^2"),),
        symbols=(
            Symbol(render_symbol("h"), "what the rod reads high", "m"),
            Symbol(render_symbol("K"), "sight", "km"),
        ),
        sources=(
            NOTES,
            MethodSource(
                "left out while the sights of a set-up differ by no more than 60 m",
                Provenance.PROJECT_CHOICE,
            ),
        ),
        limits=(
            "Refraction is taken as a seventh of curvature; close over hot concrete it"
            " is not.",
            "Within 60 m it is under a quarter of a millimetre.",
        ),
        examples=(_curved,),
    ),
)
