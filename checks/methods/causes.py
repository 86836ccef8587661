"""Likely causes: the mistakes people make, held against what was read."""

import numpy as np

from checks.engine.causes import estimate_errors as error_of
from checks.engine.causes import (
    find_inverted_rods,
    find_misreadings,
    find_setup_disturbances,
    find_swapped_pairs,
    find_wrong_orientation,
)
from checks.engine.outline import adjust_outline
from checks.engine.sources import Provenance
from checks.methods.mathml import render_formula, render_fraction, render_symbol
from checks.methods.model import (
    FOOT_MM,
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
from checks.methods.outline import ACROSS, LONG, PAIRS, PLAN, SIGMA, WIDE

MEASURED = (
    "Measured with simulated crews, 300 buildings for each mistake: right between 76 %"
    " (an inch misread, which a line or projection cannot show) and 100 %, wrong at"
    " most 2 %, the rest “no idea”.",
    "Of 1000 honest crews 0.2 % were accused, on concrete with misplaced patterns, low"
    " corners and short rods.",
)


def _by(mm: float) -> ExampleValue:
    return show_length(mm) if mm else show_text("none")


def _misread() -> Example:
    off = np.array([12.0 + 1 / 16, -15 / 16, 1 / 2]) * INCH_MM
    rest = np.array([1 / 4, 1 / 8, 1 / 8]) * INCH_MM
    found = find_misreadings(off, rest)
    read = [LONG, WIDE, LONG, WIDE, ACROSS + FOOT_MM, ACROSS]
    figure = adjust_outline(PLAN, PAIRS, read, SIGMA)
    alone = error_of(figure.residuals_mm, figure.redundancy)
    return Example(
        title="Three readings off, and a diagonal a foot long",
        inputs=(
            *(
                describe_input(
                    f"Reading {i + 1} off",
                    show_length(off[i], signed=True),
                    ", may be left over: ",
                    show_length(rest[i]),
                )
                for i in range(3)
            ),
            describe_input(
                "An outline of 40 ft by 30 ft", "one diagonal read a foot long"
            ),
        ),
        steps=(
            write_text(
                "Less a foot the first leaves ",
                show_length(off[0] - FOOT_MM),
                "; with an inch the second leaves ",
                show_length(off[1] + INCH_MM),
                "; the third is neither.",
            ),
            write_text(
                "The diagonal alone would have to be wrong by −v ÷ r: about a foot."
            ),
        ),
        results=(
            ExampleResult("Reading 1", _by(found[0]), show_length(12.0 * INCH_MM)),
            ExampleResult("Reading 2", _by(found[1]), show_length(-INCH_MM)),
            ExampleResult("Reading 3", _by(found[2]), show_text("none")),
            ExampleResult(
                "The diagonal is wrong by",
                show_length(alone[4], signed=True),
                show_length(FOOT_MM, signed=True),
                hand_tolerance=0.02,
            ),
        ),
    )


def _pattern() -> Example:
    planned = np.array([10.0, 20.0, 30.0]) * FOOT_MM
    read = planned[[1, 0, 2]] + np.array([INCH_MM / 16.0, 0.0, 0.0])
    pairs = find_swapped_pairs(planned, read, INCH_MM / 8.0)
    drawn = np.array([[-2.0, 4.0], [2.0, 4.0], [2.0, 10.0], [-2.0, 9.0]]) * INCH_MM
    built = drawn * [-1.0, 1.0]
    way = find_wrong_orientation(drawn, built, INCH_MM / 8.0)
    named = [f"{a + 1} and {b + 1}" for a, b in pairs.tolist()]
    return Example(
        title="Lines exchanged, and a detail mirrored",
        inputs=(
            describe_input(
                "Lines planned",
                show_length(planned[0]),
                "; ",
                show_length(planned[1]),
                "; ",
                show_length(planned[2]),
            ),
            describe_input(
                "Lines read",
                show_length(read[0]),
                "; ",
                show_length(read[1]),
                "; ",
                show_length(read[2]),
            ),
            describe_input(
                "Rods drawn, in inches", "(−2, 4), (2, 4), (2, 10), (−2, 9)"
            ),
            describe_input("Rods built", "(2, 4), (−2, 4), (−2, 10), (2, 9)"),
        ),
        steps=(
            write_text(
                "Each of the first two fits the other's plan within ",
                show_length(INCH_MM / 8.0),
                ".",
            ),
            write_text(
                "Every rod built is where the drawing has it, along turned round."
            ),
        ),
        results=(
            ExampleResult(
                "Exchanged", show_text(", ".join(named)), show_text("1 and 2")
            ),
            ExampleResult(
                "Detail",
                show_text(way or "as drawn"),
                show_text("mirrored along the wall"),
            ),
        ),
    )


def _level() -> Example:
    reading, expected = 38.0 * INCH_MM, 118.125 * INCH_MM
    stave = find_inverted_rods([reading], [expected], INCH_MM)[0]
    read = np.array([48.0, 48.125, 48.0, 48.5, 48.625, 48.5, 48.5, 48.625]) * INCH_MM
    pads = np.array([0, 1, 2, 3, 4, 5, 0, 1])
    found = find_setup_disturbances(
        read, np.zeros(8, dtype=np.intp), pads, INCH_MM / 4.0
    )
    return Example(
        title="A rod on its head, and a level that was knocked",
        inputs=(
            describe_input("One reading", show_length(reading)),
            describe_input("Its neighbours lead one to expect", show_length(expected)),
            describe_input(
                "Another set-up, in inches",
                "48, 48 1/8, 48, 48 1/2, 48 5/8, 48 1/2; then pads 1 and 2 again:"
                " 48 1/2, 48 5/8",
            ),
        ),
        steps=(
            write_text(
                show_length(reading),
                " + ",
                show_length(expected),
                " = ",
                show_length(reading + expected),
                ", a 13 ft rod.",
            ),
            write_text(
                "Pads 1 and 2 both changed by ",
                show_length(INCH_MM / 2.0),
                "; from the fourth reading on it shows.",
            ),
        ),
        results=(
            ExampleResult(
                "Rod read upside down",
                show_length(float(stave)),
                show_length(13.0 * FOOT_MM),
            ),
            ExampleResult(
                "Set-up knocked by",
                show_length(found[0].shift_mm),
                show_length(read[6] - read[0]),
            ),
            ExampleResult(
                "Before its reading",
                show_quantity(found[0].reading + 1, "", 0),
                show_quantity(4, "", 0),
            ),
        ),
    )


METHODS = (
    MethodDescription(
        slug="likely-causes",
        name="Likely causes",
        summary="Which mistake with tape or level would explain what was read.",
        engine=("causes",),
        formulas=(
            render_formula("| d − m | ≤ t"),
            render_formula(
                "e = −", render_fraction("v", "r"), ', "a wall or diagonal alone"'
            ),
        ),
        symbols=(
            Symbol(render_symbol("d"), "deviation of a reading", "mm"),
            Symbol(render_symbol("m"), "what the mistake comes to", "mm"),
            Symbol(
                render_symbol("t"), "what may be left over: its limit and 2 u", "mm"
            ),
            Symbol(render_symbol("e"), "what one length alone must be wrong by", "mm"),
            Symbol(
                render_symbol("v , r"), "its residual and redundancy in the outline"
            ),
        ),
        sources=(
            MethodSource(
                "the mistakes: a foot or an inch misread; the tape held at its 1 ft"
                " mark; measured from the concrete's outer edge; to the flange, or"
                " to the edge of the rod; readings exchanged, or rods numbered"
                " another way; a sign lost; a line read from the other corner; a"
                " detail turned round; the rod read upside down; a set-up knocked",
                Provenance.COMMON_PRACTICE,
            ),
            MethodSource(
                "that a whole group must tell the same story, and what may be left"
                " over",
                Provenance.PROJECT_CHOICE,
            ),
            MethodSource("W. Baarda, 1968, for −v ÷ r", Provenance.SECOND_HAND),
        ),
        limits=(
            "A hint that goes with measuring again. It changes no number.",
            *MEASURED,
            "How often each mistake happens on a site is a project choice, from no"
            " published source.",
        ),
        examples=(_misread, _pattern, _level),
    ),
)
