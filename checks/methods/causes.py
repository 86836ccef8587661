"""Likely causes: the mistakes people make, held against what was read."""

import numpy as np

from checks.engine.causes import estimated_error as error_of
from checks.engine.causes import (
    exchanged,
    knocked,
    misread_by,
    turned_around,
    upside_down,
)
from checks.engine.outline import adjust_outline
from checks.methods.model import (
    FOOT,
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
from checks.methods.notation import formula, frac, sign
from checks.methods.outline import ACROSS, LONG, PAIRS, PLAN, SIGMA, WIDE

MEASURED = (
    "Measured with simulated crews, 300 buildings for each mistake: right between 76 %"
    " (an inch misread, which a line or projection cannot show) and 100 %, wrong at"
    " most 2 %, the rest “no idea”.",
    "Of 1000 honest crews 0.2 % were accused, on concrete with misplaced patterns, low"
    " corners and short rods.",
)


def _by(mm: float) -> Piece:
    return length(mm) if mm else words("none")


def _misread() -> Example:
    off = np.array([12.0 + 1 / 16, -15 / 16, 1 / 2]) * INCH
    rest = np.array([1 / 4, 1 / 8, 1 / 8]) * INCH
    found = misread_by(off, rest)
    read = [LONG, WIDE, LONG, WIDE, ACROSS + FOOT, ACROSS]
    figure = adjust_outline(PLAN, PAIRS, read, SIGMA)
    alone = error_of(figure.residuals_mm, figure.redundancy)
    return Example(
        title="Three readings off, and a diagonal a foot long",
        given=(
            *(
                given(f"Reading {i + 1} off", length(off[i], signed=True),
                      ", may be left over: ", length(rest[i]))
                for i in range(3)
            ),
            given("An outline of 40 ft by 30 ft", "one diagonal read a foot long"),
        ),
        steps=(
            said("Less a foot the first leaves ", length(off[0] - FOOT),
                 "; with an inch the second leaves ", length(off[1] + INCH),
                 "; the third is neither."),
            said("The diagonal alone would have to be wrong by −v ÷ r: about a foot."),
        ),
        results=(
            Result("Reading 1", _by(found[0]), length(12.0 * INCH)),
            Result("Reading 2", _by(found[1]), length(-INCH)),
            Result("Reading 3", _by(found[2]), words("none")),
            Result("The diagonal is wrong by", length(alone[4], signed=True),
                   length(FOOT, signed=True), leaves_out=0.02),
        ),
    )  # fmt: skip


def _pattern() -> Example:
    planned = np.array([10.0, 20.0, 30.0]) * FOOT
    read = planned[[1, 0, 2]] + np.array([INCH / 16.0, 0.0, 0.0])
    pairs = exchanged(planned, read, INCH / 8.0)
    drawn = np.array([[-2.0, 4.0], [2.0, 4.0], [2.0, 10.0], [-2.0, 9.0]]) * INCH
    built = drawn * [-1.0, 1.0]
    way = turned_around(drawn, built, INCH / 8.0)
    named = [f"{a + 1} and {b + 1}" for a, b in pairs.tolist()]
    return Example(
        title="Lines exchanged, and a detail mirrored",
        given=(
            given("Lines planned", length(planned[0]), "; ", length(planned[1]), "; ",
                  length(planned[2])),
            given("Lines read", length(read[0]), "; ", length(read[1]), "; ",
                  length(read[2])),
            given("Rods drawn, in inches", "(−2, 4), (2, 4), (2, 10), (−2, 9)"),
            given("Rods built", "(2, 4), (−2, 4), (−2, 10), (2, 9)"),
        ),
        steps=(
            said("Each of the first two fits the other's plan within ",
                 length(INCH / 8.0), "."),
            said("Every rod built is where the drawing has it, along turned round."),
        ),
        results=(
            Result("Exchanged", words(", ".join(named)), words("1 and 2")),
            Result("Detail", words(way or "as drawn"),
                   words("mirrored along the wall")),
        ),
    )  # fmt: skip


def _level() -> Example:
    reading, expected = 38.0 * INCH, 118.125 * INCH
    stave = upside_down([reading], [expected], INCH)[0]
    read = np.array([48.0, 48.125, 48.0, 48.5, 48.625, 48.5, 48.5, 48.625]) * INCH
    pads = np.array([0, 1, 2, 3, 4, 5, 0, 1])
    found = knocked(read, np.zeros(8, dtype=np.intp), pads, INCH / 4.0)
    return Example(
        title="A rod on its head, and a level that was knocked",
        given=(
            given("One reading", length(reading)),
            given("Its neighbours lead one to expect", length(expected)),
            given("Another set-up, in inches",
                  "48, 48 1/8, 48, 48 1/2, 48 5/8, 48 1/2; then pads 1 and 2 again:"
                  " 48 1/2, 48 5/8"),
        ),
        steps=(
            said(length(reading), " + ", length(expected), " = ",
                 length(reading + expected), ", a 13 ft rod."),
            said("Pads 1 and 2 both changed by ", length(INCH / 2.0),
                 "; from the fourth reading on it shows."),
        ),
        results=(
            Result("Rod read upside down", length(float(stave)), length(13.0 * FOOT)),
            Result("Set-up knocked by", length(found[0].shift_mm),
                   length(read[6] - read[0])),
            Result("Before its reading", amount(found[0].reading + 1, "", 0),
                   amount(4, "", 0)),
        ),
    )  # fmt: skip


METHODS = (
    Method(
        slug="likely-causes",
        name="Likely causes",
        answers="Which mistake with tape or level would explain what was read.",
        engine=("causes",),
        formulas=(
            formula("| d − m | ≤ t"),
            formula("e = −", frac("v", "r"), ', "a wall or diagonal alone"'),
        ),
        symbols=(
            Symbol(sign("d"), "deviation of a reading", "mm"),
            Symbol(sign("m"), "what the mistake comes to", "mm"),
            Symbol(sign("t"), "what may be left over: its limit and 2 u", "mm"),
            Symbol(sign("e"), "what one length alone must be wrong by", "mm"),
            Symbol(sign("v , r"), "its residual and redundancy in the outline"),
        ),
        sources=(
            Source("the mistakes: a foot or an inch misread; the tape held at its 1 ft"
                   " mark; measured from the concrete's outer edge; to the flange, or"
                   " to the edge of the rod; readings exchanged, or rods numbered"
                   " another way; a sign lost; a line read from the other corner; a"
                   " detail turned round; the rod read upside down; a set-up knocked",
                   "common practice"),
            Source("that a whole group must tell the same story, and what may be left"
                   " over", "ours"),
            Source("W. Baarda, 1968, for −v ÷ r", "published, seen second-hand"),
        ),
        limits=(
            "A hint that goes with measuring again. It changes no number.",
            *MEASURED,
            "How often what goes wrong on a site is ours, from no published source.",
        ),
        examples=(_misread, _pattern, _level),
    ),
)  # fmt: skip
