"""How far an outline leans, and what squares it up."""

from math import asin

from checks.engine.outline import OutlineAdjustment, adjust_outline
from checks.engine.squaring import square_up
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
from checks.methods.notation import around, formula, frac, sign
from checks.methods.outline import (
    ACROSS,
    GEOMETRY,
    LONG,
    NAMES,
    PAIRS,
    PLAN,
    SIGMA,
    WIDE,
)


def _leaning() -> OutlineAdjustment:
    """Sides as planned, diagonals 3/8 in apart about the planned 50 ft."""
    off = 3.0 * INCH / 16.0
    read = [LONG, WIDE, LONG, WIDE, ACROSS + off, ACROSS - off]
    return adjust_outline(PLAN, PAIRS, read, SIGMA)


def _lean() -> Example:
    off = 3.0 * INCH / 16.0
    p, q = ACROSS + off, ACROSS - off
    found = _leaning()
    lean = asin((p**2 - q**2) / (4.0 * LONG * WIDE))
    return Example(
        title="40 ft by 30 ft, the diagonals 3/8 in apart",
        given=(
            given("Walls read", length(LONG), " and ", length(WIDE), ", both of each"),
            given("Diagonals read", length(p), " and ", length(q)),
        ),
        steps=(
            said(
                "p² − q² = (p + q)(p − q) = ", length(p + q), " × ", length(p - q), "."
            ),
            said(
                "100 ft × 3/8 in ÷ (4 × 40 ft × 30 ft) = ",
                amount(1000.0 * lean, "mrad", 4),
                ".",
            ),
            said("Over 30 ft that is ", length(lean * WIDE), "."),
        ),
        results=(
            Result(
                "Lean",
                amount(1000.0 * found.lean_rad, "mrad", 4),
                amount(1000.0 * lean, "mrad", 4),
                leaves_out=1e-6,
            ),
        ),
    )


def _squared() -> Example:
    figure = _leaning()
    found = square_up(PLAN, figure.corners_mm)
    first, second = found.kept
    by_hand = float(figure.lean_rad) * WIDE
    return Example(
        title="The same outline squared up",
        given=(
            given("Figure", "40 ft by 30 ft, leaning as above"),
            given("Kept", f"the longest wall, {NAMES[first]}-{NAMES[second]}"),
        ),
        steps=(
            said(
                "Each far corner is to stand square over its own end of the kept wall."
            ),
            said(
                amount(1000.0 * figure.lean_rad, "mrad", 4),
                " × ",
                length(WIDE),
                " = ",
                fine(by_hand),
                " along the far wall.",
            ),
        ),
        results=tuple(
            Result(
                f"Move {NAMES[corner]} along {NAMES[wall]}-{NAMES[wall + 1]} by",
                fine(move, signed=True),
                fine(by_hand, signed=True),
                leaves_out=1e-6,
            )
            for corner, wall, move in zip(
                found.corner.tolist(), found.wall.tolist(), found.move_mm, strict=True
            )
        ),
    )


METHODS = (
    Method(
        slug="lean",
        name="Lean of the outline",
        answers="How far out of square the outline is, as an angle.",
        engine=("outline",),
        formulas=(
            formula("β = asin", around(frac("M e · M n", "| M e | | M n |"))),
            formula("β = asin", around(frac("p^2 − q^2", "4 a b")), ', "four walls"'),
        ),
        symbols=(
            Symbol(sign("β"), "lean, positive where the first corner is closed", "rad"),
            Symbol(sign("M"), "best affine fit of the figure to the plan"),
            Symbol(sign("e , n"), "along the first wall, and square to it inward"),
            Symbol(sign("p , q"), "diagonals, from the first and second corner", "mm"),
            Symbol(sign("a , b"), "walls", "mm"),
        ),
        sources=(
            GEOMETRY,
            Source("the lean of an outline of more than four corners", "ours"),
        ),
        limits=(
            "The verdict is that of the diagonals' difference against its limit; the"
            " lean says what it comes to.",
            "The short form is for a parallelogram where a rectangle was planned.",
        ),
        examples=(_lean,),
    ),
    Method(
        slug="square-up",
        name="Squaring up",
        answers="Which corner to move, along which wall, and how far.",
        engine=("squaring", "outline_remedies"),
        formulas=(formula("m =", frac("(T − c) · u", "d · u")),),
        symbols=(
            Symbol(sign("m"), "move along the corner's wall", "mm"),
            Symbol(sign("T"), "where the plan puts it from the kept wall", "mm"),
            Symbol(sign("c"), "where it is", "mm"),
            Symbol(
                sign("u"),
                "next to the kept wall square to its side on the plan; further off"
                " along the kept wall",
            ),
            Symbol(sign("d"), "direction of the wall it moves along"),
        ),
        sources=(GEOMETRY, Source("the longest wall is kept", "ours")),
        limits=(
            "Sets the sides at the plan's angle to the kept wall, whatever their"
            " length: walls that are long stay long.",
            "With more than four corners a wall along the kept one that is out in"
            " length enters the moves of the corners beyond it.",
            "Where a corner would have to move by more than a foot and 1/50 of the"
            " longest wall, a length is wrong (ours): nothing is moved, all is measured"
            " again.",
            "Before the pour forms are moved; afterwards the steel line, if the rods"
            " allow it and the engineer agrees.",
        ),
        examples=(_squared,),
    ),
)
