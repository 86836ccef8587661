"""Limits, verdicts, and how sure they are."""

from math import erf, sqrt

import numpy as np

from checks.engine.conformity import (
    COVERAGE_FACTOR,
    SLACK_MM,
    ConformityAssessment,
    assess_conformity,
)
from checks.engine.sources import Provenance
from checks.methods.mathml import (
    render_formula,
    render_fraction,
    render_parentheses,
    render_symbol,
)
from checks.methods.model import (
    FOOT_MM,
    INCH_MM,
    Example,
    ExampleResult,
    ExampleText,
    MethodDescription,
    MethodSource,
    Symbol,
    describe_input,
    show_conformity,
    show_fine_length,
    show_length,
    show_quantity,
    show_yes_no,
    write_text,
)
from checks.tolerances.limits import ToleranceLimits, resolve_limits
from jobs.anchor_plan.values import ToleranceSpec

DECISION = MethodSource(
    "JCGM 106:2012, The role of measurement uncertainty in conformity assessment,"
    " 7.2, 8.2 and 8.3; read in part",
    Provenance.PUBLISHED,
)
LIMIT, OFF, UNCERTAINTY = INCH_MM / 8.0, 3.0 * INCH_MM / 32.0, 1.2


def _share_below(z: float) -> float:
    """Share of a normal distribution below z of its standard deviations."""
    return 0.5 * (1.0 + erf(z / sqrt(2.0)))


def _of(basis: str) -> ToleranceLimits:
    return resolve_limits(ToleranceSpec(basis=basis))


def _bases() -> Example:
    practice, concrete = _of("metal-building-practice"), _of("aci-117-2010")
    walls = practice.wall(np.array([20.0, 60.0]) * FOOT_MM)
    diagonal = practice.diagonal_difference(np.array([[72.0, 72.0]]) * FOOT_MM)[0]
    rods = concrete.rod_location(np.array([0.75, 1.0]) * INCH_MM)
    return Example(
        title="Two bases",
        source=MethodSource(
            "ACI 117-10, 2.3.4.2, for the rods", Provenance.SECOND_HAND
        ),
        inputs=(
            describe_input(
                "Metal building practice",
                "walls of 20 ft and 60 ft, diagonals of 72 ft",
            ),
            describe_input("ACI 117-10", "rods of 3/4 in and 1 in"),
        ),
        steps=(
            write_text("20 ÷ 50 × 1/4 in = 0.10 in, less than the floor of 1/8 in."),
            write_text("60 ÷ 50 × 1/4 in = 0.30 in; 72 ÷ 50 × 1/4 in = 0.36 in."),
        ),
        results=(
            ExampleResult(
                "Wall of 20 ft",
                show_fine_length(walls[0]),
                show_fine_length(INCH_MM / 8.0),
            ),
            ExampleResult(
                "Wall of 60 ft",
                show_fine_length(walls[1]),
                show_fine_length(60.0 / 50.0 * INCH_MM / 4.0),
            ),
            ExampleResult(
                "Difference of the diagonals",
                show_fine_length(diagonal),
                show_fine_length(72.0 / 50.0 * INCH_MM / 4.0),
            ),
            ExampleResult(
                "Rod of 3/4 in, ACI 117",
                show_length(rods[0]),
                published=show_length(INCH_MM / 4.0),
            ),
            ExampleResult(
                "Rod of 1 in, ACI 117",
                show_length(rods[1]),
                published=show_length(3.0 * INCH_MM / 8.0),
            ),
        ),
    )


def _judged(*, guarded: bool) -> ConformityAssessment:
    return assess_conformity([OFF], -LIMIT, LIMIT, UNCERTAINTY, guarded=guarded)


def _close() -> Example:
    found = _judged(guarded=False)
    above, below = (LIMIT - OFF) / UNCERTAINTY, (-LIMIT - OFF) / UNCERTAINTY
    sure = _share_below(above) - _share_below(below)
    return Example(
        title="A reference line just within",
        inputs=(
            describe_input("Deviation", show_length(OFF, signed=True)),
            describe_input("Limit, either way", show_length(LIMIT)),
            describe_input("Standard uncertainty", show_fine_length(UNCERTAINTY)),
        ),
        steps=_close_by_hand(above, below, sure),
        results=(
            ExampleResult("Verdict", show_conformity(found.within[0])),
            ExampleResult(
                "Probability of conformance",
                show_quantity(found.probability[0], "", 3),
                show_quantity(sure, "", 3),
            ),
            ExampleResult(
                "Close to the limit",
                show_yes_no(found.close_to_limit[0]),
                show_yes_no(LIMIT - OFF <= COVERAGE_FACTOR * UNCERTAINTY),
            ),
        ),
    )


def _close_by_hand(above: float, below: float, sure: float) -> tuple[ExampleText, ...]:
    return (
        write_text(show_length(OFF), " is not more than ", show_length(LIMIT), "."),
        write_text(
            "To the limits: (",
            show_fine_length(LIMIT),
            " − ",
            show_fine_length(OFF),
            ") ÷ ",
            show_fine_length(UNCERTAINTY),
            f" = {above:.3f}, and {below:.3f} the other way.".replace("-", "−"),
        ),
        write_text(f"Φ({above:.3f}) − Φ({below:.3f}) = {sure:.3f}.".replace("-", "−")),
        write_text(
            "From the limit ",
            show_fine_length(LIMIT - OFF),
            ", not more than 2 × ",
            show_fine_length(UNCERTAINTY),
            ".",
        ),
    )


def _one_sided() -> Example:
    found = assess_conformity([-5.47], -np.inf, -5.40, 0.05)
    return Example(
        title="A voltage against an upper limit",
        source=MethodSource(
            "JCGM 106:2012, an example's inputs", Provenance.FROM_MEMORY
        ),
        inputs=(
            describe_input("Measured", show_quantity(-5.47, "V")),
            describe_input("Standard uncertainty", show_quantity(0.05, "V")),
            describe_input("Upper limit", show_quantity(-5.40, "V")),
        ),
        steps=(
            write_text("(−5.40 + 5.47) ÷ 0.05 = 1.40; Φ(1.40) from the normal table."),
        ),
        results=(
            ExampleResult(
                "Probability of the voltage's conformance",
                show_quantity(found.probability[0], "", 4),
                show_quantity(_share_below(1.40), "", 4),
            ),
        ),
    )


def _guarded() -> Example:
    simple, strict = _judged(guarded=False), _judged(guarded=True)
    left = LIMIT - COVERAGE_FACTOR * UNCERTAINTY
    return Example(
        title="The same line under guarded acceptance",
        inputs=(
            describe_input("Deviation", show_length(OFF, signed=True)),
            describe_input("Limit, either way", show_length(LIMIT)),
            describe_input("Standard uncertainty", show_fine_length(UNCERTAINTY)),
        ),
        steps=(
            write_text(
                show_fine_length(LIMIT),
                " − 2 × ",
                show_fine_length(UNCERTAINTY),
                " = ",
                show_fine_length(left),
                " is left.",
            ),
            write_text(show_fine_length(OFF), " is more than that."),
        ),
        results=(
            ExampleResult("Simple acceptance", show_conformity(simple.within[0])),
            ExampleResult(
                "Guarded acceptance",
                show_conformity(strict.within[0]),
                show_conformity(left + SLACK_MM >= OFF),
            ),
        ),
    )


METHODS = (
    MethodDescription(
        slug="tolerance-limits",
        name="Limits of a tolerance basis",
        summary="How far off a length, a rod or a pad may be.",
        engine=("conformity",),
        formulas=(
            render_formula('"limit" = max(f, min(c,', render_fraction("L", "p"), "t))"),
        ),
        symbols=(
            Symbol(render_symbol("t"), "amount allowed per length p", "mm"),
            Symbol(
                render_symbol("L"), "length on the plan, for diagonals their mean", "mm"
            ),
            Symbol(render_symbol("f"), "floor, where the rule has one", "mm"),
            Symbol(render_symbol("c"), "cap, where the rule has one", "mm"),
        ),
        sources=(
            MethodSource(
                "metal building practice: 1/4 in per 50 ft, 1/8 in for lines and rods",
                Provenance.COMMON_PRACTICE,
            ),
            MethodSource(
                "metal building practice: the floor of 1/8 in for walls; 1/4 in for"
                " the notch",
                Provenance.PROJECT_CHOICE,
            ),
            MethodSource(
                "ACI 117-10, AISC 303 and EN 1090-2 as their bases say, value by value",
                Provenance.SECOND_HAND,
            ),
        ),
        limits=(
            "A building names its basis and may override any value; each finding shows"
            " the limits it was judged by, with their sources.",
            "A limit is included to 10⁻⁶ mm: the unit typed changes no verdict.",
            "Where a basis has no rule, metal building practice stands in and says so.",
        ),
        examples=(_bases,),
    ),
    MethodDescription(
        slug="verdict",
        name="Verdict, its probability, and close to the limit",
        summary="Whether a deviation is within its limits, and how sure that is.",
        engine=("conformity",),
        formulas=(
            render_formula("l − s ≤ d ≤ h + s"),
            render_formula(
                "p = Φ",
                render_parentheses(render_fraction("h − d", "u")),
                "− Φ",
                render_parentheses(render_fraction("l − d", "u")),
            ),
            render_formula('"close: " | d − h | ≤ 2 u'),
            render_formula('"or " | d − l | ≤ 2 u'),
        ),
        symbols=(
            Symbol(render_symbol("d"), "deviation, observed less planned", "mm"),
            Symbol(render_symbol("l , h"), "lower and upper limit", "mm"),
            Symbol(render_symbol("u"), "standard uncertainty of the deviation", "mm"),
            Symbol(render_symbol("s"), "slack of 10⁻⁶", "mm"),
            Symbol(render_symbol("Φ"), "share of a normal distribution below"),
        ),
        sources=(
            DECISION,
            MethodSource(
                "within means within the limit, as the trade does it",
                Provenance.COMMON_PRACTICE,
            ),
        ),
        limits=(
            "The probability changes no verdict. Close to a limit a second, independent"
            " reading is asked for.",
            "It takes the uncertainty as normal and complete, and the limits unshrunk.",
            "Nothing measured is unmeasured, never within.",
        ),
        examples=(_close, _one_sided),
    ),
    MethodDescription(
        slug="guarded-acceptance",
        name="Guarded acceptance",
        summary="The stricter verdict a basis may ask for: surely within, or outside.",
        engine=("conformity",),
        formulas=(render_formula("l + 2 u − s ≤ d ≤ h − 2 u + s"),),
        symbols=(
            Symbol(render_symbol("d"), "deviation, observed less planned", "mm"),
            Symbol(render_symbol("l , h"), "lower and upper limit", "mm"),
            Symbol(render_symbol("u"), "standard uncertainty of the deviation", "mm"),
            Symbol(render_symbol("s"), "slack of 10⁻⁶", "mm"),
        ),
        sources=(DECISION,),
        limits=(
            "Only where the building's tolerances ask for it; simple acceptance else.",
            "An uncertainty that is not known cannot be shown to be kept: outside.",
            "What is outside by its uncertainty alone is to be measured again first.",
            "Strengths are judged without a guard.",
        ),
        examples=(_guarded,),
    ),
)
