"""How well a reading is known, and what several of them are worth together."""

from math import ceil, hypot, sqrt

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.tape import STEEL_EXPANSION
from checks.engine.uncertainty import (
    LEVEL_MM,
    LEVEL_SIGHT_MM,
    UNKNOWN_TEMPERATURE_C,
    Repeats,
    combine_repeats,
    level_uncertainty,
    reading_uncertainty,
    tape_class_limit,
)
from checks.methods.model import (
    FOOT,
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
    verdict,
)
from checks.methods.notation import formula, frac, root, sign, total

ENGINE = ("uncertainty",)
GUIDE = Source(
    "JCGM 100:2008, Guide to the expression of uncertainty in measurement, 4.3.7,"
    " 5.1.2 and 5.2.2",
    "from memory",
)
CLASSES = Source("OIML R 35-1:2007, accuracy classes of tapes", "from memory")
PRACTICE = Source("1.0 mm at 30 m, in proportion to the sight", "common practice")
SIXTEENTH = INCH / 16.0


def _budget() -> Example:
    read = 60.0 * FOOT
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
        given=(
            given("Read", length(read), ", to the sixteenth"),
            given("Tape", "class II"),
            given("Temperature", "not noted"),
        ),
        steps=(
            said(
                length(read),
                f" is {read / 1000.0:.3f} m, taken as {metres} m: 0.3 + 0.2 × {metres}"
                f" = {bound:.1f} mm.",
            ),
            said(f"Tape: {bound:.1f} ÷ √3 = ", amount(parts[0], "mm", 3), "."),
            said("Reading: 1.5875 ÷ √12 = ", amount(parts[1], "mm", 3), "."),
            said(
                "Temperature: 0.0000116 × 10 × 18,288 ÷ √3 = ",
                amount(parts[2], "mm", 3),
                ".",
            ),
            said("√ of the sum of their squares: ", amount(together, "mm", 3), "."),
        ),
        results=(
            Result("Tape's class", fine(found.class_mm[0]), fine(parts[0])),
            Result("Reading", fine(found.resolution_mm[0]), fine(parts[1])),
            Result("Temperature", fine(found.temperature_mm[0]), fine(parts[2])),
            Result("Standard uncertainty", fine(found.combined_mm[0]), fine(together)),
        ),
    )


def _classes() -> Example:
    found = tape_class_limit([30_000.0] * 3, [1, 2, 3])
    by_hand = (0.1 + 0.1 * 30, 0.3 + 0.2 * 30, 0.6 + 0.4 * 30)
    return Example(
        title="What the classes allow a 30 m tape",
        given=(given("Length", "30 m"),),
        steps=(said("0.1 + 0.1 × 30; 0.3 + 0.2 × 30; 0.6 + 0.4 × 30."),),
        results=tuple(
            Result(
                f"Class {name}, either way", amount(mm, "mm", 1), amount(hand, "mm", 1)
            )
            for name, mm, hand in zip(("I", "II", "III"), found, by_hand, strict=True)
        ),
    )


def _rod_reading() -> Example:
    sight = 45.0 * FOOT
    found = level_uncertainty([sight], SIXTEENTH)
    parts = (LEVEL_MM * sight / LEVEL_SIGHT_MM, SIXTEENTH / sqrt(12.0))
    return Example(
        title="A pad 45 ft from the level",
        given=(
            given("Sight", length(sight)),
            given("Read", "to the sixteenth"),
            given("The instrument says", "nothing"),
        ),
        steps=(
            said(
                f"Level: 1.0 × {sight / 1000.0:.3f} ÷ 30 = ",
                amount(parts[0], "mm", 3),
                ".",
            ),
            said("Reading: 1.5875 ÷ √12 = ", amount(parts[1], "mm", 3), "."),
        ),
        results=(
            Result(
                "Standard uncertainty", fine(found.combined_mm[0]), fine(hypot(*parts))
            ),
        ),
    )


def _repeats() -> Example:
    inches = np.array([3 / 16, 5 / 16, 3 / 16, 9 / 16])
    read = 50.0 * FOOT + inches * INCH
    parts = reading_uncertainty(read, SIXTEENTH, 2, True)
    found = combine_repeats([0, 0, 1, 1], 2, read, parts)
    tape, rest = (0.3 + 0.2 * 16) / sqrt(3.0), SIXTEENTH / sqrt(12.0)
    limit = 2.0 * sqrt(2.0 * (tape**2 + rest**2))
    return Example(
        title="A diagonal read twice, well and badly",
        given=(
            given("Read first", length(read[0]), " and ", length(read[1])),
            given("Or else", length(read[2]), " and ", length(read[3])),
            given("Tape", "class II, its temperature noted, read to the sixteenth"),
        ),
        steps=(
            said("Tape: (0.3 + 0.2 × 16) ÷ √3 = ", amount(tape, "mm", 3), "."),
            said("Reading: 1.5875 ÷ √12 = ", amount(rest, "mm", 3), "."),
            said(
                f"Of the mean: √({tape:.3f}² + {rest:.3f}² ÷ 2) = ",
                amount(sqrt(tape**2 + rest**2 / 2.0), "mm", 3),
                "; the tape's part does not fall.",
            ),
            said(
                f"Allowed between two: 2 × √(2 × ({tape:.3f}² + {rest:.3f}²)) = ",
                amount(limit, "mm", 2),
                ".",
            ),
        ),
        results=_repeats_results(read, found, tape, rest, limit),
    )


def _repeats_results(
    read: FloatArray,
    found: Repeats,
    tape: float,
    rest: float,
    limit: float,
) -> tuple[Result, ...]:
    mean = (read[0] + read[1]) / 2.0
    words = ["remeasure" if apart else "within" for apart in found.disagree]
    return (
        Result("Mean of the first pair", length(found.mean_mm[0]), length(mean)),
        Result(
            "Its standard uncertainty",
            fine(found.uncertainty_mm[0]),
            fine(sqrt(tape**2 + rest**2 / 2.0)),
        ),
        Result(
            "Allowed between two readings",
            fine(found.spread_limit_mm[0]),
            fine(limit),
        ),
        Result(
            "First pair apart by", fine(found.spread_mm[0]), fine(read[1] - read[0])
        ),
        Result("First pair", verdict(words[0])),
        Result(
            "Second pair apart by",
            fine(found.spread_mm[1]),
            fine(read[3] - read[2]),
        ),
        Result("Second pair", verdict(words[1])),
    )


METHODS = (
    Method(
        slug="uncertainty-tape",
        name="Uncertainty of a tape reading",
        answers="How far a reading may well be from the truth, and why.",
        engine=ENGINE,
        formulas=(
            formula("u_c =", frac("a + b L", root("3")), ', "class"'),
            formula("u_r =", frac("q", root("12")), ', "reading"'),
            formula("u_t =", frac('α · 10 "°C" · L', root("3")), ', "temperature"'),
            formula("u =", root("u_c^2 + u_r^2 + u_t^2")),
        ),
        symbols=(
            Symbol(sign("u"), "standard uncertainty (1 σ); expanded: 2 u", "mm"),
            Symbol(sign("a + b L"), "what the tape's class allows, below", "mm"),
            Symbol(sign("L"), "length read, for the class in whole metres up", "mm"),
            Symbol(sign("q"), "last fraction or decimal as typed", "mm"),
            Symbol(sign("α"), "expansion of tape steel, 11.6 × 10⁻⁶", "per °C"),
        ),
        sources=(
            CLASSES,
            GUIDE,
            Source(
                "class II where no tape is named; 10 °C where no temperature is noted",
                "ours",
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
    Method(
        slug="uncertainty-level",
        name="Uncertainty of a grade-rod reading",
        answers="How far the height read through a level may well be from the truth.",
        engine=ENGINE,
        formulas=(
            formula("u_l = u_{30}", frac("d", '30 "m"')),
            formula("u =", root("u_l^2 +", frac("q^2", "12"))),
        ),
        symbols=(
            Symbol(sign("u_{30}"), "the instrument's at 30 m; 1.0 unless stated", "mm"),
            Symbol(sign("d"), "sight, 30 m where it is not noted", "m"),
            Symbol(sign("q"), "last fraction or decimal as typed", "mm"),
        ),
        sources=(PRACTICE, GUIDE),
        limits=(
            "Takes the level as adjusted and the rod as plumb.",
            "In weighing readings against each other the last decimal of all of them"
            " counts alike, so that the unit typed cannot move a height.",
        ),
        examples=(_rod_reading,),
    ),
    Method(
        slug="repeats",
        name="Repeats, and when they disagree",
        answers="What several readings of one thing are worth, and when to read again.",
        engine=ENGINE,
        formulas=(
            formula("x =", frac("1", "n"), total("", "x_i")),
            formula("u^2 = c^2 +", frac("1", "n^2"), total("", "r_i^2")),
            formula('"allowed" = 2', root("2 (c^2 + r^2)")),
        ),
        symbols=(
            Symbol(sign("x_i"), "readings that stand, corrected", "mm"),
            Symbol(sign("n"), "how many there are"),
            Symbol(sign("c"), "the tape's class term, the mean of them", "mm"),
            Symbol(sign("r_i"), "the other terms of each reading", "mm"),
        ),
        sources=(
            GUIDE,
            Source(
                "the class term in what is allowed, for pull, alignment and holding"
                " the mark; never less than one step of the tape",
                "ours",
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
