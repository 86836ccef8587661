"""How far an outline leans, and what squares it up."""

from math import asin

from checks.engine.corner_moves import find_corner_moves
from checks.engine.outline import OutlineAdjustment, adjust_outline
from checks.engine.sources import Provenance
from checks.methods.mathml import (
    render_formula,
    render_fraction,
    render_parentheses,
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
    off = 3.0 * INCH_MM / 16.0
    read = [LONG, WIDE, LONG, WIDE, ACROSS + off, ACROSS - off]
    return adjust_outline(PLAN, PAIRS, read, SIGMA)


def _lean() -> Example:
    off = 3.0 * INCH_MM / 16.0
    p, q = ACROSS + off, ACROSS - off
    found = _leaning()
    lean = asin((p**2 - q**2) / (4.0 * LONG * WIDE))
    return Example(
        title="40 ft by 30 ft, the diagonals 3/8 in apart",
        inputs=(
            describe_input(
                "Walls read",
                show_length(LONG),
                " and ",
                show_length(WIDE),
                ", both of each",
            ),
            describe_input("Diagonals read", show_length(p), " and ", show_length(q)),
        ),
        steps=(
            write_text(
                "p² − q² = (p + q)(p − q) = ",
                show_length(p + q),
                " × ",
                show_length(p - q),
                ".",
            ),
            write_text(
                "100 ft × 3/8 in ÷ (4 × 40 ft × 30 ft) = ",
                show_quantity(1000.0 * lean, "mrad", 4),
                ".",
            ),
            write_text("Over 30 ft that is ", show_length(lean * WIDE), "."),
        ),
        results=(
            ExampleResult(
                "Lean",
                show_quantity(1000.0 * found.skew_rad, "mrad", 4),
                show_quantity(1000.0 * lean, "mrad", 4),
                hand_tolerance=1e-6,
            ),
        ),
    )


def _squared() -> Example:
    figure = _leaning()
    found = find_corner_moves(PLAN, figure.corners_mm)
    first, second = found.kept
    by_hand = float(figure.skew_rad) * WIDE
    return Example(
        title="The same outline squared up",
        inputs=(
            describe_input("Figure", "40 ft by 30 ft, leaning as above"),
            describe_input("Kept", f"the longest wall, {NAMES[first]}-{NAMES[second]}"),
        ),
        steps=(
            write_text(
                "Each far corner is to stand square over its own end of the kept wall."
            ),
            write_text(
                show_quantity(1000.0 * figure.skew_rad, "mrad", 4),
                " × ",
                show_length(WIDE),
                " = ",
                show_fine_length(by_hand),
                " along the far wall.",
            ),
        ),
        results=tuple(
            ExampleResult(
                f"Move {NAMES[corner]} along {NAMES[wall]}-{NAMES[wall + 1]} by",
                show_fine_length(move, signed=True),
                show_fine_length(by_hand, signed=True),
                hand_tolerance=1e-6,
            )
            for corner, wall, move in zip(
                found.corner.tolist(), found.wall.tolist(), found.move_mm, strict=True
            )
        ),
    )


METHODS = (
    MethodDescription(
        slug="lean",
        name="Lean of the outline",
        summary="How far out of square the outline is, as an angle.",
        engine=("outline",),
        formulas=(
            render_formula(
                "β = asin",
                render_parentheses(render_fraction("M e · M n", "| M e | | M n |")),
            ),
            render_formula(
                "β = asin",
                render_parentheses(render_fraction("p^2 − q^2", "4 a b")),
                ', "four walls"',
            ),
        ),
        symbols=(
            Symbol(
                render_symbol("β"),
                "lean, positive where the first corner is closed",
                "rad",
            ),
            Symbol(render_symbol("M"), "best affine fit of the figure to the plan"),
            Symbol(
                render_symbol("e , n"), "along the first wall, and square to it inward"
            ),
            Symbol(
                render_symbol("p , q"),
                "diagonals, from the first and second corner",
                "mm",
            ),
            Symbol(render_symbol("a , b"), "walls", "mm"),
        ),
        sources=(
            GEOMETRY,
            MethodSource(
                "the lean of an outline of more than four corners",
                Provenance.PROJECT_CHOICE,
            ),
        ),
        limits=(
            "The verdict is that of the diagonals' difference against its limit; the"
            " lean says what it comes to.",
            "The short form is for a parallelogram where a rectangle was planned.",
        ),
        examples=(_lean,),
    ),
    MethodDescription(
        slug="square-up",
        name="Squaring up",
        summary="Which corner to move, along which wall, and how far.",
        engine=("corner_moves", "remedies.outline"),
        formulas=(render_formula("m =", render_fraction("(T − c) · u", "d · u")),),
        symbols=(
            Symbol(render_symbol("m"), "move along the corner's wall", "mm"),
            Symbol(
                render_symbol("T"), "where the plan puts it from the kept wall", "mm"
            ),
            Symbol(render_symbol("c"), "where it is", "mm"),
            Symbol(
                render_symbol("u"),
                "next to the kept wall square to its side on the plan; further off"
                " along the kept wall",
            ),
            Symbol(render_symbol("d"), "direction of the wall it moves along"),
        ),
        sources=(
            GEOMETRY,
            MethodSource("the longest wall is kept", Provenance.PROJECT_CHOICE),
        ),
        limits=(
            "Sets the sides at the plan's angle to the kept wall, whatever their"
            " length: walls that are long stay long.",
            "With more than four corners a wall along the kept one that is out in"
            " length enters the moves of the corners beyond it.",
            "Where a corner would have to move by more than a foot and 1/50 of the"
            " longest wall, a length is wrong (project choice): nothing is moved, all"
            " is measured again.",
            "Before the pour forms are moved; afterwards the steel line, if the rods"
            " allow it and the engineer agrees.",
        ),
        examples=(_squared,),
    ),
)
