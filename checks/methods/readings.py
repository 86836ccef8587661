"""How well a reading is known, and what several of them are worth together."""

from math import ceil, hypot, sqrt

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.sources import Provenance
from checks.engine.tape import STEEL_EXPANSION
from checks.engine.uncertainty import (
    LEVEL_REFERENCE_SIGHT_MM,
    LEVEL_UNCERTAINTY_MM,
    UNKNOWN_TEMPERATURE_C,
    RepeatStatistics,
    combine_repeats,
    level_uncertainty,
    reading_uncertainty,
    tape_class_limit,
)
from checks.methods.mathml import (
    render_formula,
    render_fraction,
    render_root,
    render_sum,
    render_symbol,
)
from checks.methods.model import (
    FOOT_MM,
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
    show_verdict,
    write_text,
)

ENGINE = ("uncertainty",)
GUIDE = MethodSource(
    "JCGM 100:2008, Guide to the expression of uncertainty in measurement, 4.3.7,"
    " 5.1.2 and 5.2.2",
    Provenance.FROM_MEMORY,
)
CLASSES = MethodSource(
    "OIML R 35-1:2007, accuracy classes of tapes", Provenance.FROM_MEMORY
)
PRACTICE = MethodSource(
    "1.0 mm at 30 m, in proportion to the sight", Provenance.COMMON_PRACTICE
)
SIXTEENTH = INCH_MM / 16.0


def _budget() -> Example:
    read = 60.0 * FOOT_MM
    found = reading_uncertainty([read], SIXTEENTH, 2, False)
    metres = ceil(read / 1000.0)
    bound = 0.3 + 0.2 * metres
    parts = (
        bound / sqrt(3.0),
        SIXTEENTH / sqrt(12.0),
        STEEL_EXPANSION * UNKNOWN_TEMPERATURE_C * read / sqrt(3.0),
    )
    together = hypot(*parts)
    return Example(
        title="A wall of 60 ft",
        inputs=(
            describe_input("Read", show_length(read), ", to the sixteenth"),
            describe_input("Tape", "class II"),
            describe_input("Temperature", "not noted"),
        ),
        steps=(
            write_text(
                show_length(read),
                f" is {read / 1000.0:.3f} m, taken as {metres} m: 0.3 + 0.2 × {metres}"
                f" = {bound:.1f} mm.",
            ),
            write_text(
                f"Tape: {bound:.1f} ÷ √3 = ", show_quantity(parts[0], "mm", 3), "."
            ),
            write_text(
                "Reading: 1.5875 ÷ √12 = ", show_quantity(parts[1], "mm", 3), "."
            ),
            write_text(
                "Temperature: 0.0000116 × 10 × 18,288 ÷ √3 = ",
                show_quantity(parts[2], "mm", 3),
                ".",
            ),
            write_text(
                "√ of the sum of their squares: ", show_quantity(together, "mm", 3), "."
            ),
        ),
        results=(
            ExampleResult(
                "Tape's class",
                show_fine_length(found.class_mm[0]),
                show_fine_length(parts[0]),
            ),
            ExampleResult(
                "Reading",
                show_fine_length(found.resolution_mm[0]),
                show_fine_length(parts[1]),
            ),
            ExampleResult(
                "Temperature",
                show_fine_length(found.temperature_mm[0]),
                show_fine_length(parts[2]),
            ),
            ExampleResult(
                "Standard uncertainty",
                show_fine_length(found.combined_mm[0]),
                show_fine_length(together),
            ),
        ),
    )


def _classes() -> Example:
    found = tape_class_limit([30_000.0] * 3, [1, 2, 3])
    by_hand = (0.1 + 0.1 * 30, 0.3 + 0.2 * 30, 0.6 + 0.4 * 30)
    return Example(
        title="What the classes allow a 30 m tape",
        inputs=(describe_input("Length", "30 m"),),
        steps=(write_text("0.1 + 0.1 × 30; 0.3 + 0.2 × 30; 0.6 + 0.4 × 30."),),
        results=tuple(
            ExampleResult(
                f"Class {name}, either way",
                show_quantity(mm, "mm", 1),
                show_quantity(hand, "mm", 1),
            )
            for name, mm, hand in zip(("I", "II", "III"), found, by_hand, strict=True)
        ),
    )


def _rod_reading() -> Example:
    sight = 45.0 * FOOT_MM
    found = level_uncertainty([sight], SIXTEENTH)
    parts = (
        LEVEL_UNCERTAINTY_MM * sight / LEVEL_REFERENCE_SIGHT_MM,
        SIXTEENTH / sqrt(12.0),
    )
    return Example(
        title="A pad 45 ft from the level",
        inputs=(
            describe_input("Sight", show_length(sight)),
            describe_input("Read", "to the sixteenth"),
            describe_input("The instrument says", "nothing"),
        ),
        steps=(
            write_text(
                f"Level: 1.0 × {sight / 1000.0:.3f} ÷ 30 = ",
                show_quantity(parts[0], "mm", 3),
                ".",
            ),
            write_text(
                "Reading: 1.5875 ÷ √12 = ", show_quantity(parts[1], "mm", 3), "."
            ),
        ),
        results=(
            ExampleResult(
                "Standard uncertainty",
                show_fine_length(found.combined_mm[0]),
                show_fine_length(hypot(*parts)),
            ),
        ),
    )


def _repeats() -> Example:
    inches = np.array([3 / 16, 5 / 16, 3 / 16, 9 / 16])
    read = 50.0 * FOOT_MM + inches * INCH_MM
    parts = reading_uncertainty(read, SIXTEENTH, 2, True)
    found = combine_repeats([0, 0, 1, 1], 2, read, parts)
    tape, rest = (0.3 + 0.2 * 16) / sqrt(3.0), SIXTEENTH / sqrt(12.0)
    limit = 2.0 * sqrt(2.0 * (tape**2 + rest**2))
    return Example(
        title="A diagonal read twice, well and badly",
        inputs=(
            describe_input(
                "Read first", show_length(read[0]), " and ", show_length(read[1])
            ),
            describe_input(
                "Or else", show_length(read[2]), " and ", show_length(read[3])
            ),
            describe_input(
                "Tape", "class II, its temperature noted, read to the sixteenth"
            ),
        ),
        steps=(
            write_text(
                "Tape: (0.3 + 0.2 × 16) ÷ √3 = ", show_quantity(tape, "mm", 3), "."
            ),
            write_text("Reading: 1.5875 ÷ √12 = ", show_quantity(rest, "mm", 3), "."),
            write_text(
                f"Of the mean: √({tape:.3f}² + {rest:.3f}² ÷ 2) = ",
                show_quantity(sqrt(tape**2 + rest**2 / 2.0), "mm", 3),
                "; the tape's part does not fall.",
            ),
            write_text(
                f"Allowed between two: 2 × √(2 × ({tape:.3f}² + {rest:.3f}²)) = ",
                show_quantity(limit, "mm", 2),
                ".",
            ),
        ),
        results=_repeats_results(read, found, tape, rest, limit),
    )


def _repeats_results(
    read: FloatArray,
    found: RepeatStatistics,
    tape: float,
    rest: float,
    limit: float,
) -> tuple[ExampleResult, ...]:
    mean = (read[0] + read[1]) / 2.0
    words = ["remeasure" if apart else "within" for apart in found.disagree]
    return (
        ExampleResult(
            "Mean of the first pair", show_length(found.mean_mm[0]), show_length(mean)
        ),
        ExampleResult(
            "Its standard uncertainty",
            show_fine_length(found.uncertainty_mm[0]),
            show_fine_length(sqrt(tape**2 + rest**2 / 2.0)),
        ),
        ExampleResult(
            "Allowed between two readings",
            show_fine_length(found.spread_limit_mm[0]),
            show_fine_length(limit),
        ),
        ExampleResult(
            "First pair apart by",
            show_fine_length(found.spread_mm[0]),
            show_fine_length(read[1] - read[0]),
        ),
        ExampleResult("First pair", show_verdict(words[0])),
        ExampleResult(
            "Second pair apart by",
            show_fine_length(found.spread_mm[1]),
            show_fine_length(read[3] - read[2]),
        ),
        ExampleResult("Second pair", show_verdict(words[1])),
    )


METHODS = (
    MethodDescription(
        slug="uncertainty-tape",
        name="Uncertainty of a tape reading",
        summary="How far a reading may well be from the truth, and why.",
        engine=ENGINE,
        formulas=(
            render_formula(
                "u_c =", render_fraction("a + b L", render_root("3")), ', "class"'
            ),
            render_formula(
                "u_r =", render_fraction("q", render_root("12")), ', "reading"'
            ),
            render_formula(
                "u_t =",
                render_fraction('α · 10 "°C" · L', render_root("3")),
                ', "temperature"',
            ),
            render_formula("u =", render_root("u_c^2 + u_r^2 + u_t^2")),
        ),
        symbols=(
            Symbol(
                render_symbol("u"), "standard uncertainty (1 σ); expanded: 2 u", "mm"
            ),
            Symbol(
                render_symbol("a + b L"), "what the tape's class allows, below", "mm"
            ),
            Symbol(
                render_symbol("L"),
                "length read, for the class in whole metres up",
                "mm",
            ),
            Symbol(render_symbol("q"), "last fraction or decimal as typed", "mm"),
            Symbol(
                render_symbol("α"), "expansion of tape steel, 11.6 × 10⁻⁶", "per °C"
            ),
        ),
        sources=(
            CLASSES,
            GUIDE,
            MethodSource(
                "class II where no tape is named; 10 °C where no temperature is noted",
                Provenance.PROJECT_CHOICE,
            ),
        ),
        limits=(
            "Class I allows 0.1 + 0.1 L, class II 0.3 + 0.2 L, class III 0.6 + 0.4 L"
            " mm, L in metres; each bound is taken as rectangular.",
            "A reading is never taken as coarser than 1/8 in.",
            "Mistakes are not in it: they are sought by repeats and by the other"
            " readings.",
        ),
        examples=(_budget, _classes),
    ),
    MethodDescription(
        slug="uncertainty-level",
        name="Uncertainty of a grade-rod reading",
        summary="How far the height read through a level may well be from the truth.",
        engine=ENGINE,
        formulas=(
            render_formula("u_l = u_{30}", render_fraction("d", '30 "m"')),
            render_formula("u =", render_root("u_l^2 +", render_fraction("q^2", "12"))),
        ),
        symbols=(
            Symbol(
                render_symbol("u_{30}"),
                "the instrument's at 30 m; 1.0 unless stated",
                "mm",
            ),
            Symbol(render_symbol("d"), "sight, 30 m where it is not noted", "m"),
            Symbol(render_symbol("q"), "last fraction or decimal as typed", "mm"),
        ),
        sources=(PRACTICE, GUIDE),
        limits=(
            "Takes the level as adjusted and the rod as plumb.",
            "In weighing readings against each other the last decimal of all of them"
            " counts alike, so that the unit typed cannot move a height.",
        ),
        examples=(_rod_reading,),
    ),
    MethodDescription(
        slug="repeats",
        name="Repeats, and when they disagree",
        summary="What several readings of one thing are worth, and when to read again.",
        engine=ENGINE,
        formulas=(
            render_formula("x =", render_fraction("1", "n"), render_sum("", "x_i")),
            render_formula(
                "u^2 = c^2 +", render_fraction("1", "n^2"), render_sum("", "r_i^2")
            ),
            render_formula('"allowed" = 2', render_root("2 (c^2 + r^2)")),
        ),
        symbols=(
            Symbol(render_symbol("x_i"), "readings that stand, corrected", "mm"),
            Symbol(render_symbol("n"), "how many there are"),
            Symbol(render_symbol("c"), "the tape's class term, the mean of them", "mm"),
            Symbol(render_symbol("r_i"), "the other terms of each reading", "mm"),
        ),
        sources=(
            GUIDE,
            MethodSource(
                "the class term in what is allowed, for pull, alignment and holding"
                " the mark; never less than one step of the tape",
                Provenance.PROJECT_CHOICE,
            ),
        ),
        limits=(
            "Largest less smallest beyond what is allowed: the check is to be measured"
            " again, and nothing else is said of it.",
            "Repeats by one crew with one tape do not show what ails the tape.",
            "Grade-rod readings are held against each other set-up by set-up.",
        ),
        examples=(_repeats,),
    ),
)
