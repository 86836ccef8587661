"""Limits, verdicts, and how sure they are."""

from math import erf, sqrt

import numpy as np

from checks.engine.acceptance import COVERAGE, SLACK_MM, Judgement, judge
from checks.methods.model import (
    FOOT,
    INCH,
    Example,
    Line,
    Method,
    Result,
    Source,
    Symbol,
    amount,
    fine,
    given,
    length,
    said,
    within,
    yes_no,
)
from checks.methods.notation import around, formula, frac, sign
from checks.tolerances import Limits, limits_for
from jobs.plan.model import Tolerances

DECISION = Source(
    "JCGM 106:2012, The role of measurement uncertainty in conformity assessment,"
    " 7.2, 8.2 and 8.3; read in part",
    "published",
)
LIMIT, OFF, UNCERTAINTY = INCH / 8.0, 3.0 * INCH / 32.0, 1.2


def _share_below(z: float) -> float:
    """Share of a normal distribution below z of its standard deviations."""
    return 0.5 * (1.0 + erf(z / sqrt(2.0)))


def _of(basis: str) -> Limits:
    return limits_for(Tolerances(basis=basis))


def _bases() -> Example:
    practice, concrete = _of("metal-building-practice"), _of("aci-117-2010")
    walls = practice.wall(np.array([20.0, 60.0]) * FOOT)
    diagonal = practice.diagonal_difference(np.array([[72.0, 72.0]]) * FOOT)[0]
    rods = concrete.rod_location(np.array([0.75, 1.0]) * INCH)
    return Example(
        title="Two bases",
        source=Source(
            "ACI 117-10, 2.3.4.2, for the rods", "published, seen second-hand"
        ),
        given=(
            given(
                "Metal building practice",
                "walls of 20 ft and 60 ft, diagonals of 72 ft",
            ),
            given("ACI 117-10", "rods of 3/4 in and 1 in"),
        ),
        steps=(
            said("20 ÷ 50 × 1/4 in = 0.10 in, less than the floor of 1/8 in."),
            said("60 ÷ 50 × 1/4 in = 0.30 in; 72 ÷ 50 × 1/4 in = 0.36 in."),
        ),
        results=(
            Result("Wall of 20 ft", fine(walls[0]), fine(INCH / 8.0)),
            Result("Wall of 60 ft", fine(walls[1]), fine(60.0 / 50.0 * INCH / 4.0)),
            Result(
                "Difference of the diagonals",
                fine(diagonal),
                fine(72.0 / 50.0 * INCH / 4.0),
            ),
            Result(
                "Rod of 3/4 in, ACI 117", length(rods[0]), published=length(INCH / 4.0)
            ),
            Result(
                "Rod of 1 in, ACI 117",
                length(rods[1]),
                published=length(3.0 * INCH / 8.0),
            ),
        ),
    )


def _judged(*, guarded: bool) -> Judgement:
    return judge([OFF], -LIMIT, LIMIT, UNCERTAINTY, guarded=guarded)


def _close() -> Example:
    found = _judged(guarded=False)
    above, below = (LIMIT - OFF) / UNCERTAINTY, (-LIMIT - OFF) / UNCERTAINTY
    sure = _share_below(above) - _share_below(below)
    return Example(
        title="A reference line just within",
        given=(
            given("Deviation", length(OFF, signed=True)),
            given("Limit, either way", length(LIMIT)),
            given("Standard uncertainty", fine(UNCERTAINTY)),
        ),
        steps=_close_by_hand(above, below, sure),
        results=(
            Result("Verdict", within(found.within[0])),
            Result(
                "Probability of conformance",
                amount(found.probability[0], "", 3),
                amount(sure, "", 3),
            ),
            Result(
                "Close to the limit",
                yes_no(found.close_to_limit[0]),
                yes_no(LIMIT - OFF <= COVERAGE * UNCERTAINTY),
            ),
        ),
    )


def _close_by_hand(above: float, below: float, sure: float) -> tuple[Line, ...]:
    return (
        said(length(OFF), " is not more than ", length(LIMIT), "."),
        said(
            "To the limits: (",
            fine(LIMIT),
            " − ",
            fine(OFF),
            ") ÷ ",
            fine(UNCERTAINTY),
            f" = {above:.3f}, and {below:.3f} the other way.".replace("-", "−"),
        ),
        said(f"Φ({above:.3f}) − Φ({below:.3f}) = {sure:.3f}.".replace("-", "−")),
        said(
            "From the limit ",
            fine(LIMIT - OFF),
            ", not more than 2 × ",
            fine(UNCERTAINTY),
            ".",
        ),
    )


def _one_sided() -> Example:
    found = judge([-5.47], -np.inf, -5.40, 0.05)
    return Example(
        title="A voltage against an upper limit",
        source=Source("JCGM 106:2012, an example's inputs", "from memory"),
        given=(
            given("Measured", amount(-5.47, "V")),
            given("Standard uncertainty", amount(0.05, "V")),
            given("Upper limit", amount(-5.40, "V")),
        ),
        steps=(said("(−5.40 + 5.47) ÷ 0.05 = 1.40; Φ(1.40) from the normal table."),),
        results=(
            Result(
                "Probability of the voltage's conformance",
                amount(found.probability[0], "", 4),
                amount(_share_below(1.40), "", 4),
            ),
        ),
    )


def _guarded() -> Example:
    simple, strict = _judged(guarded=False), _judged(guarded=True)
    left = LIMIT - COVERAGE * UNCERTAINTY
    return Example(
        title="The same line under guarded acceptance",
        given=(
            given("Deviation", length(OFF, signed=True)),
            given("Limit, either way", length(LIMIT)),
            given("Standard uncertainty", fine(UNCERTAINTY)),
        ),
        steps=(
            said(
                fine(LIMIT),
                " − 2 × ",
                fine(UNCERTAINTY),
                " = ",
                fine(left),
                " is left.",
            ),
            said(fine(OFF), " is more than that."),
        ),
        results=(
            Result("Simple acceptance", within(simple.within[0])),
            Result(
                "Guarded acceptance",
                within(strict.within[0]),
                within(left + SLACK_MM >= OFF),
            ),
        ),
    )


METHODS = (
    Method(
        slug="tolerance-limits",
        name="Limits of a tolerance basis",
        answers="How far off a length, a rod or a pad may be.",
        engine=("acceptance",),
        formulas=(formula('"limit" = max(f, min(c,', frac("L", "p"), "t))"),),
        symbols=(
            Symbol(sign("t"), "amount allowed per length p", "mm"),
            Symbol(sign("L"), "length on the plan, for diagonals their mean", "mm"),
            Symbol(sign("f"), "floor, where the rule has one", "mm"),
            Symbol(sign("c"), "cap, where the rule has one", "mm"),
        ),
        sources=(
            Source(
                "metal building practice: 1/4 in per 50 ft, 1/8 in for lines and rods",
                "common practice",
            ),
            Source(
                "metal building practice: the floor of 1/8 in for walls; 1/4 in for"
                " the notch",
                "ours",
            ),
            Source(
                "ACI 117-10, AISC 303 and EN 1090-2 as their bases say, value by value",
                "published, seen second-hand",
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
    Method(
        slug="verdict",
        name="Verdict, its probability, and close to the limit",
        answers="Whether a deviation is within its limits, and how sure that is.",
        engine=("acceptance",),
        formulas=(
            formula("l − s ≤ d ≤ h + s"),
            formula(
                "p = Φ", around(frac("h − d", "u")), "− Φ", around(frac("l − d", "u"))
            ),
            formula('"close: " | d − h | ≤ 2 u'),
            formula('"or " | d − l | ≤ 2 u'),
        ),
        symbols=(
            Symbol(sign("d"), "deviation, observed less planned", "mm"),
            Symbol(sign("l , h"), "lower and upper limit", "mm"),
            Symbol(sign("u"), "standard uncertainty of the deviation", "mm"),
            Symbol(sign("s"), "slack of 10⁻⁶", "mm"),
            Symbol(sign("Φ"), "share of a normal distribution below"),
        ),
        sources=(
            DECISION,
            Source(
                "within means within the limit, as the trade does it", "common practice"
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
    Method(
        slug="guarded-acceptance",
        name="Guarded acceptance",
        answers="The stricter verdict a basis may ask for: surely within, or outside.",
        engine=("acceptance",),
        formulas=(formula("l + 2 u − s ≤ d ≤ h − 2 u + s"),),
        symbols=(
            Symbol(sign("d"), "deviation, observed less planned", "mm"),
            Symbol(sign("l , h"), "lower and upper limit", "mm"),
            Symbol(sign("u"), "standard uncertainty of the deviation", "mm"),
            Symbol(sign("s"), "slack of 10⁻⁶", "mm"),
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
