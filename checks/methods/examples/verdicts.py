"""Uncertainty, repeats, limits and verdicts."""

from math import ceil, erf, hypot, sqrt

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.conformity import (
    COVERAGE_FACTOR,
    SLACK_MM,
    ConformityAssessment,
    assess_conformity,
)
from checks.engine.neighbour_lengths import (
    BAY_WEIGHTS,
    combine_uncertainty,
    find_contradictions,
    predict_bays,
)
from checks.engine.tape import STEEL_EXPANSION
from checks.engine.uncertainty import (
    HANDLING_LIMIT_MM,
    LEVEL_REFERENCE_SIGHT_MM,
    LEVEL_UNCERTAINTY_MM,
    UNKNOWN_TEMPERATURE_C,
    RepeatStatistics,
    combine_repeats,
    level_uncertainty,
    reading_uncertainty,
    tape_class_limit,
)
from checks.methods.example_values import (
    FOOT_MM,
    INCH_MM,
    build_result,
    describe_input,
    write_text,
)
from checks.methods.model import Calculation, ExampleResult, ExampleText
from checks.tolerances.limits import ToleranceLimits, resolve_limits
from jobs.anchor_plan.values import ToleranceSpec

SIXTEENTH_MM = INCH_MM / 16.0
LIMIT_MM, DEVIATION_MM, UNCERTAINTY_MM = INCH_MM / 8.0, 3.0 * INCH_MM / 32.0, 1.2


def calculate_wall_uncertainty() -> Calculation:
    """Calculate the uncertainty of a taped wall."""
    # A metre that is begun counts whole in the class, hence the rounding up.
    read = 60.0 * FOOT_MM
    computed = reading_uncertainty([read], SIXTEENTH_MM, 2, False)
    metres = ceil(read / 1000.0)
    bound = 0.3 + 0.2 * metres
    parts = (
        bound / sqrt(3.0),
        SIXTEENTH_MM / sqrt(12.0),
        STEEL_EXPANSION * UNKNOWN_TEMPERATURE_C * read / sqrt(3.0),
        HANDLING_LIMIT_MM,
    )
    together = hypot(*parts)
    return Calculation(
        inputs=(
            describe_input("Read", "{:length}, to the sixteenth", read),
            describe_input("Tape", "class II"),
            describe_input("Temperature", "not recorded"),
        ),
        steps=(
            write_text(
                "{:length} is {:3} m, rounded up to {} m: 0.3 + 0.2 × {} = {:1} mm.",
                read,
                read / 1000.0,
                metres,
                metres,
                bound,
            ),
            write_text("Tape: {:1} ÷ √3 = {:3 mm}.", bound, parts[0]),
            write_text("Reading: 1.5875 ÷ √12 = {:3 mm}.", parts[1]),
            write_text(
                "Temperature: 0.0000116 × 10 × 18,288 ÷ √3 = {:3 mm}.", parts[2]
            ),
            write_text(
                "Handling: 0.5 + 0.1 × 18.288, at most 1.5 mm: {:1 mm}.", parts[3]
            ),
            write_text("Square root of the sum of their squares: {:3 mm}.", together),
        ),
        results=(
            build_result("Class of the tape", "fine", computed.class_mm[0], parts[0]),
            build_result("Reading", "fine", computed.resolution_mm[0], parts[1]),
            build_result("Temperature", "fine", computed.temperature_mm[0], parts[2]),
            build_result("Handling", "fine", computed.handling_mm[0], parts[3]),
            build_result(
                "Standard uncertainty", "fine", computed.combined_mm[0], together
            ),
        ),
    )


def calculate_class_limits() -> Calculation:
    """Calculate what the classes allow a tape."""
    computed = tape_class_limit([30_000.0] * 3, [1, 2, 3])
    by_hand = (0.1 + 0.1 * 30, 0.3 + 0.2 * 30, 0.6 + 0.4 * 30)
    return Calculation(
        inputs=(describe_input("Length", "30 m"),),
        steps=(write_text("0.1 + 0.1 × 30; 0.3 + 0.2 × 30; 0.6 + 0.4 × 30."),),
        results=tuple(
            build_result(f"Class {name}, plus or minus", "1 mm", mm, hand)
            for name, mm, hand in zip(
                ("I", "II", "III"), computed, by_hand, strict=True
            )
        ),
    )


def calculate_pad_uncertainty() -> Calculation:
    """Calculate the uncertainty of a grade-rod reading."""
    sight = 45.0 * FOOT_MM
    computed = level_uncertainty([sight], SIXTEENTH_MM)
    parts = (
        LEVEL_UNCERTAINTY_MM * sight / LEVEL_REFERENCE_SIGHT_MM,
        SIXTEENTH_MM / sqrt(12.0),
    )
    return Calculation(
        inputs=(
            describe_input("Sight", "{:length}", sight),
            describe_input("Read", "to the sixteenth"),
            describe_input("Instrument's own uncertainty", "not stated"),
        ),
        steps=(
            write_text("Level: 1.0 × {:3} ÷ 30 = {:3 mm}.", sight / 1000.0, parts[0]),
            write_text("Reading: 1.5875 ÷ √12 = {:3 mm}.", parts[1]),
        ),
        results=(
            build_result(
                "Standard uncertainty", "fine", computed.combined_mm[0], hypot(*parts)
            ),
        ),
    )


def calculate_repeats() -> Calculation:
    """Combine two pairs of repeats."""
    # One pair agrees and one does not: both sides of the limit are shown.
    inches = np.array([3 / 16, 5 / 16, 3 / 16, 7 / 16])
    read = 50.0 * FOOT_MM + inches * INCH_MM
    parts = reading_uncertainty(read, SIXTEENTH_MM, 2, True)
    computed = combine_repeats([0, 0, 1, 1], 2, read, parts)
    tape = (0.3 + 0.2 * 16) / sqrt(3.0)
    rest = hypot(SIXTEENTH_MM / sqrt(12.0), HANDLING_LIMIT_MM)
    limit = 2.0 * sqrt(2.0 * rest**2)
    return Calculation(
        inputs=(
            describe_input("Read first", "{:length} and {:length}", read[0], read[1]),
            describe_input("Second pair", "{:length} and {:length}", read[2], read[3]),
            describe_input(
                "Tape",
                "the same for all, class II, temperature recorded, read to the"
                " sixteenth",
            ),
        ),
        steps=(
            write_text("Tape: (0.3 + 0.2 × 16) ÷ √3 = {:3 mm}.", tape),
            write_text("Reading and handling: √(1.5875² ÷ 12 + 1.5²) = {:3 mm}.", rest),
            write_text(
                "Mean: √({:3}² + {:3}² ÷ 2) = {:3 mm}; the part of the tape is not"
                " reduced.",
                tape,
                rest,
                sqrt(tape**2 + rest**2 / 2.0),
            ),
            write_text(
                "Allowed difference: 2 × √(2 × {:3}²) = {:2 mm}; the tape's part"
                " cancels.",
                rest,
                limit,
            ),
        ),
        results=_build_repeats_results(read, computed, tape, rest, limit),
    )


def _build_repeats_results(
    read: FloatArray,
    computed: RepeatStatistics,
    tape: float,
    rest: float,
    limit: float,
) -> tuple[ExampleResult, ...]:
    mean = (read[0] + read[1]) / 2.0
    words = ["remeasure" if apart else "within" for apart in computed.disagree]
    return (
        build_result("Mean of the first pair", "length", computed.mean_mm[0], mean),
        build_result(
            "Its standard uncertainty",
            "fine",
            computed.uncertainty_mm[0],
            sqrt(tape**2 + rest**2 / 2.0),
        ),
        build_result(
            "Allowed difference of two readings",
            "fine",
            computed.spread_limit_mm[0],
            limit,
        ),
        build_result(
            "Difference of the first pair",
            "fine",
            computed.spread_mm[0],
            read[1] - read[0],
        ),
        build_result("First pair", "verdict", words[0]),
        build_result(
            "Difference of the second pair",
            "fine",
            computed.spread_mm[1],
            read[3] - read[2],
        ),
        build_result("Second pair", "verdict", words[1]),
    )


def _normal_probability(z: float) -> float:
    """Return the cumulative normal distribution at z."""
    return 0.5 * (1.0 + erf(z / sqrt(2.0)))


def _load_limits(basis: str) -> ToleranceLimits:
    return resolve_limits(ToleranceSpec(basis=basis))


def calculate_two_bases() -> Calculation:
    """Calculate limits of two bases."""
    # 20 ft is short enough for the floor to govern, 60 ft is not.
    practice, concrete = (
        _load_limits("metal-building-practice"),
        _load_limits("aci-117-2010"),
    )
    walls = practice.wall(np.array([20.0, 60.0]) * FOOT_MM)
    diagonal = practice.diagonal_difference(np.array([[72.0, 72.0]]) * FOOT_MM)[0]
    rods = concrete.rod_location(np.array([0.75, 1.0]) * INCH_MM)
    return Calculation(
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
            build_result("Wall of 20 ft", "fine", walls[0], INCH_MM / 8.0),
            build_result(
                "Wall of 60 ft", "fine", walls[1], 60.0 / 50.0 * INCH_MM / 4.0
            ),
            build_result(
                "Difference of the diagonals",
                "fine",
                diagonal,
                72.0 / 50.0 * INCH_MM / 4.0,
            ),
            build_result(
                "Rod of 3/4 in, ACI 117", "length", rods[0], published=INCH_MM / 4.0
            ),
            build_result(
                "Rod of 1 in, ACI 117", "length", rods[1], published=3.0 * INCH_MM / 8.0
            ),
        ),
    )


def _assess_line(*, guarded: bool) -> ConformityAssessment:
    return assess_conformity(
        [DEVIATION_MM], -LIMIT_MM, LIMIT_MM, UNCERTAINTY_MM, guarded=guarded
    )


def calculate_close_line() -> Calculation:
    """Compare a deviation close to its limit."""
    # The deviation is within, but nearer to the limit than its uncertainty.
    computed = _assess_line(guarded=False)
    above, below = (
        (LIMIT_MM - DEVIATION_MM) / UNCERTAINTY_MM,
        (-LIMIT_MM - DEVIATION_MM) / UNCERTAINTY_MM,
    )
    sure = _normal_probability(above) - _normal_probability(below)
    return Calculation(
        inputs=(
            describe_input("Deviation", "{:+length}", DEVIATION_MM),
            describe_input("Limit, plus or minus", "{:length}", LIMIT_MM),
            describe_input("Standard uncertainty", "{:fine}", UNCERTAINTY_MM),
        ),
        steps=_write_close_steps(above, below, sure),
        results=(
            build_result("Verdict", "within", computed.within[0]),
            build_result(
                "Probability of conformance", "3", computed.probability[0], sure
            ),
        ),
    )


def _write_close_steps(
    above: float, below: float, sure: float
) -> tuple[ExampleText, ...]:
    return (
        write_text("{:length} is not more than {:length}.", DEVIATION_MM, LIMIT_MM),
        write_text(
            "To the limits: ({:fine} − {:fine}) ÷ {:fine} = {:3}, and {:3} the other"
            " way.",
            LIMIT_MM,
            DEVIATION_MM,
            UNCERTAINTY_MM,
            above,
            below,
        ),
        write_text("Φ({:3}) − Φ({:3}) = {:3}.", above, below, sure),
    )


def calculate_one_sided_limit() -> Calculation:
    """Calculate the probability against one limit."""
    computed = assess_conformity([-5.47], -np.inf, -5.40, 0.05)
    return Calculation(
        inputs=(
            describe_input("Measured", "{:2 V}", -5.47),
            describe_input("Standard uncertainty", "{:2 V}", 0.05),
            describe_input("Upper limit", "{:2 V}", -5.40),
        ),
        steps=(
            write_text("(−5.40 + 5.47) ÷ 0.05 = 1.40; Φ(1.40) from the normal table."),
        ),
        results=(
            build_result(
                "Probability of the voltage's conformance",
                "4",
                computed.probability[0],
                _normal_probability(1.40),
            ),
        ),
    )


def calculate_guarded_line() -> Calculation:
    """Compare simple with guarded acceptance."""
    # The same numbers as above: only the rule of acceptance differs.
    simple, strict = _assess_line(guarded=False), _assess_line(guarded=True)
    left = LIMIT_MM - COVERAGE_FACTOR * UNCERTAINTY_MM
    return Calculation(
        inputs=(
            describe_input("Deviation", "{:+length}", DEVIATION_MM),
            describe_input("Limit, plus or minus", "{:length}", LIMIT_MM),
            describe_input("Standard uncertainty", "{:fine}", UNCERTAINTY_MM),
        ),
        steps=(
            write_text(
                "{:fine} − 2 × {:fine} = {:fine} remains.",
                LIMIT_MM,
                UNCERTAINTY_MM,
                left,
            ),
            write_text("{:fine} is more than that.", DEVIATION_MM),
        ),
        results=(
            build_result("Simple acceptance", "within", simple.within[0]),
            build_result(
                "Guarded acceptance",
                "within",
                strict.within[0],
                left + SLACK_MM >= DEVIATION_MM,
            ),
        ),
    )


def calculate_bay() -> Calculation:
    """Calculate what two lines make of the bay between them."""
    lines, bay, own = (0.8, 2.4), -3.6, 1.0
    # The class terms of 12.2, 18.3 and 6.1 m by one class II tape nearly cancel.
    common = np.array([(0.3 + 0.2 * metres) / sqrt(3.0) for metres in (13, 19, 7)])
    covariance = own**2 * np.eye(3) + np.outer(common, common)
    predicted = float(predict_bays([lines])[0])
    sigma = float(combine_uncertainty(BAY_WEIGHTS, covariance))
    shared = -common[0] + common[1] - common[2]
    by_hand = sqrt(3.0 * own**2 + shared**2)
    return Calculation(
        inputs=(
            describe_input("Line at 40 ft", "{:+1 mm}", lines[0]),
            describe_input("Line at 60 ft", "{:+1 mm}", lines[1]),
            describe_input("Bay as read", "{:+1 mm}", bay),
            describe_input("Own part of each reading", "{:1 mm}", own),
        ),
        steps=(
            write_text(
                "By the lines: {:1} − {:1} = {:+1 mm}.", lines[1], lines[0], predicted
            ),
            write_text(
                "Common to the tape: {:3} − {:3} − {:3} = {:3 mm}.",
                common[1],
                common[0],
                common[2],
                shared,
            ),
            write_text("√(3 × 1.0² + {:3}²) = {:3 mm}.", abs(shared), by_hand),
            write_text(
                "The difference of {:1 mm} is {:1} u, less than 3.29 u.",
                abs(bay - predicted),
                abs(bay - predicted) / by_hand,
            ),
        ),
        results=(
            build_result("By the lines", "+1 mm", predicted, lines[1] - lines[0]),
            build_result("Uncertainty of the difference", "3 mm", sigma, by_hand),
            build_result(
                "Contradicts",
                "yes_no",
                find_contradictions([bay], [predicted], [sigma])[0],
                abs(bay - predicted) > 3.29 * by_hand,
            ),
        ),
    )
