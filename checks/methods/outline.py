"""The outline: its figure from walls and diagonals, its lean, how to square it up."""

from math import sqrt

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.distance_network import CRITICAL_W, adjust_distances
from checks.engine.outline import OutlineAdjustment, adjust_outline
from checks.engine.sources import Provenance
from checks.methods.mathml import (
    group_parts,
    render_formula,
    render_fraction,
    render_parentheses,
    render_power,
    render_root,
    render_sum,
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
    show_fine_length,
    show_length,
    show_quantity,
    show_text,
    show_yes_no,
    write_text,
)

LONG, WIDE, ACROSS = 40.0 * FOOT_MM, 30.0 * FOOT_MM, 50.0 * FOOT_MM
PLAN = np.array([[0.0, 0.0], [LONG, 0.0], [LONG, WIDE], [0.0, WIDE]])
PAIRS = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [0, 2], [1, 3]])
NAMES = ("A", "B", "C", "D")
LENGTHS = ("wall A-B", "wall B-C", "wall C-D", "wall D-A", "diagonal A-C", "B-D")
SIGMA = 2.0

SNOOPING = MethodSource(
    "W. Baarda, A testing procedure for use in geodetic networks, 1968",
    Provenance.SECOND_HAND,
)
ADJUSTING = MethodSource(
    "C. D. Ghilani, Adjustment Computations, chapters 14 and 21", Provenance.FROM_MEMORY
)
KRUMM = "quoted in F. Krumm, Geodetic Network Adjustment Examples, 2020"
GEOMETRY = MethodSource("plane geometry", Provenance.PUBLISHED)


def _rectangle() -> Example:
    off, roughly = INCH_MM, 2e-3
    read = [LONG, WIDE, LONG, WIDE, ACROSS + off, ACROSS]
    found = adjust_outline(PLAN, PAIRS, read, SIGMA)
    shares = np.array([4.0, 3.0, 4.0, 3.0, -5.0, -5.0])
    squares = float(shares @ shares)
    by_hand = 5.0 * off * shares / squares
    w = 5.0 * off / (sqrt(squares) * SIGMA)
    return Example(
        title="40 ft by 30 ft, one diagonal read an inch long",
        inputs=(
            describe_input(
                "Walls read",
                show_length(LONG),
                " and ",
                show_length(WIDE),
                ", both of each",
            ),
            describe_input(
                "Diagonals read", show_length(read[4]), " and ", show_length(read[5])
            ),
            describe_input("Standard uncertainty of each", show_fine_length(SIGMA)),
        ),
        steps=_rectangle_by_hand(off, squares, w, by_hand),
        results=_rectangle_results(w, by_hand, found, roughly),
    )


def _rectangle_by_hand(
    off: float, squares: float, w: float, by_hand: FloatArray
) -> tuple[ExampleText, ...]:
    return (
        write_text("4 corners: 2 × 4 − 3 = 5 unknowns; 6 readings, so 1 to spare."),
        write_text(
            "The squares of the two diagonals make those of the four walls, so to"
            " first order what does not fit is shared 4, 3, 4, 3, 5 and 5: walls"
            " longer, diagonals shorter."
        ),
        write_text(
            "4² + 3² + 4² + 3² + 5² + 5² = ", show_quantity(squares, "", 0), "."
        ),
        write_text(
            "Each diagonal: ",
            show_length(off),
            " × 5 × 5 ÷ 100 = ",
            show_fine_length(-by_hand[4]),
            "; each long wall: ",
            show_length(off),
            " × 5 × 4 ÷ 100 = ",
            show_fine_length(by_hand[0]),
            ".",
        ),
        write_text(
            "|w| of every reading: ",
            show_length(off),
            " × 5 ÷ (√100 × ",
            show_fine_length(SIGMA),
            ") = ",
            show_quantity(w),
            ".",
        ),
    )


def _rectangle_results(
    w: float, by_hand: FloatArray, found: OutlineAdjustment, roughly: float
) -> tuple[ExampleResult, ...]:
    return (
        *(
            ExampleResult(
                f"Change of {LENGTHS[i]}",
                show_fine_length(found.residuals_mm[i], signed=True),
                show_fine_length(by_hand[i], signed=True),
                hand_tolerance=roughly,
            )
            for i in range(len(LENGTHS))
        ),
        ExampleResult(
            "Largest |w|",
            show_quantity(np.abs(found.w).max()),
            show_quantity(w),
            hand_tolerance=roughly,
        ),
        ExampleResult(
            "Smallest |w|",
            show_quantity(np.abs(found.w).min()),
            show_quantity(w),
            hand_tolerance=roughly,
        ),
        ExampleResult(
            f"Something wrong (|w| over {CRITICAL_W})",
            show_yes_no(found.cannot_tell or found.suspect.any()),
            show_yes_no(w > CRITICAL_W),
        ),
        ExampleResult(
            "Which reading",
            show_text("cannot tell" if found.cannot_tell else "named"),
            show_text("cannot tell"),
        ),
    )


def _missing_side() -> Example:
    start = np.array([[0.0, 1.0], [1.0, 1.0], [0.0, 0.0], [1.0, 0.0]]) * 1e6
    pairs = [[0, 2], [0, 3], [1, 2], [1, 3], [2, 3]]
    read = [1000.02, 1414.20, 1414.24, 999.98, 1000.00]
    held = [True, True, False, False]
    found = adjust_distances(start[None], pairs, np.array([read]) * 1e3, 10.0, held)
    points = found.points_mm[0, 2:] / 1e3
    sd = np.sqrt(np.diag(found.covariance_mm2[0])[4:] * found.reference_variance[0])
    published = (("3", -0.0096, -0.0226), ("4", 999.9930, 0.0174))
    return Example(
        title="A square with one missing side",
        source=MethodSource(
            f"Benning, Statistik in Geodäsie, Geoinformation und Bauwesen, 2011,"
            f" example 8-2; {KRUMM}",
            Provenance.SECOND_HAND,
        ),
        inputs=(
            describe_input("Held", "1 at (0, 1000) m, 2 at (1000, 1000) m"),
            describe_input("1 to 3, 1 to 4", "1000.02 m, 1414.20 m"),
            describe_input("2 to 3, 2 to 4", "1414.24 m, 999.98 m"),
            describe_input("3 to 4", "1000.00 m"),
            describe_input("Standard uncertainty of each", "10 mm"),
        ),
        steps=(
            write_text(
                "4 unknowns, 5 distances: 1 to spare, so every |w| is the same."
            ),
        ),
        results=_missing_side_results(sd, published, points),
    )


def _missing_side_results(
    sd: FloatArray,
    published: tuple[tuple[str, float, float], tuple[str, float, float]],
    points: FloatArray,
) -> tuple[ExampleResult, ...]:
    return (
        *(
            ExampleResult(
                f"Point {name}, {axis}",
                show_quantity(points[i, k], "m", 4),
                published=show_quantity(places[k], "m", 4),
            )
            for i, (name, *places) in enumerate(published)
            for k, axis in enumerate("xy")
        ),
        ExampleResult(
            "Standard deviation of 3, x",
            show_quantity(sd[0], "mm"),
            published=show_quantity(9.01, "mm"),
        ),
        ExampleResult(
            "Standard deviation of 3, y",
            show_quantity(sd[1], "mm"),
            published=show_quantity(6.37, "mm"),
        ),
    )


def _what_is_missing() -> Example:
    nothing = float("nan")
    read = [LONG, WIDE, LONG, WIDE, nothing, nothing]
    found = adjust_outline(PLAN, PAIRS, read, SIGMA, [[0, 2], [1, 3]])
    named = [" to ".join(NAMES[i] for i in pair) for pair in found.missing.tolist()]
    return Example(
        title="Four walls and no diagonal",
        inputs=(
            describe_input(
                "Walls read",
                show_length(LONG),
                " and ",
                show_length(WIDE),
                ", both of each",
            ),
            describe_input("Diagonals", "none"),
        ),
        steps=(
            write_text("2 × 4 − 3 = 5 unknowns; 4 readings: one is missing."),
            write_text("Four hinged walls lean freely; the first diagonal holds them."),
        ),
        results=(
            ExampleResult(
                "Readings to spare",
                show_quantity(found.degrees_of_freedom, "", 0),
                show_quantity(4 - 5, "", 0),
            ),
            ExampleResult("Missing", show_text(", ".join(named)), show_text("A to C")),
        ),
    )


METHODS = (
    MethodDescription(
        slug="outline",
        name="Outline from walls and diagonals",
        summary="The figure that was built, and which reading does not fit it.",
        engine=("outline", "distance_network"),
        formulas=(
            render_formula(
                '"least" ',
                render_sum(
                    "",
                    render_power(
                        render_parentheses(render_fraction("l − d", "σ")), "2"
                    ),
                ),
            ),
            render_formula("d =", render_root("(x_j − x_i)^2 + (y_j − y_i)^2")),
            render_formula("r_i = 1 − h_{ii}"),
            render_formula(
                "w_i =", render_fraction("v_i", group_parts("σ_i", render_root("r_i")))
            ),
        ),
        symbols=(
            Symbol(render_symbol("l"), "each wall and diagonal as read", "mm"),
            Symbol(render_symbol("d"), "the same between the corners found", "mm"),
            Symbol(render_symbol("σ"), "its standard uncertainty", "mm"),
            Symbol(render_symbol("v"), "change of a reading, d − l", "mm"),
            Symbol(render_symbol("h"), "diagonal of the weighted hat matrix"),
            Symbol(render_symbol("r"), "share of a mistake that shows in v, 0 to 1"),
            Symbol(render_symbol("w"), "v over its own standard deviation"),
        ),
        sources=(ADJUSTING, SNOOPING),
        limits=(
            "Corners are laid on the plan by the best turn and shift: none of them is"
            " taken to be right.",
            "With one reading to spare all |w| are equal: it says that something is"
            " wrong and cannot tell which. So too wherever two residuals move as one.",
            "A mistake smaller than about 4 σ ÷ √r may well pass unseen.",
            "Lengths that fit no figure near the plan, or only one with a corner turned"
            " over, give no figure.",
        ),
        examples=(_missing_side, _rectangle),
    ),
    MethodDescription(
        slug="missing-reading",
        name="Which reading is missing",
        summary="What still has to be measured before the outline has one figure.",
        engine=("outline",),
        formulas=(render_formula("f = m − (2 n − 3)"),),
        symbols=(
            Symbol(render_symbol("n"), "corners"),
            Symbol(render_symbol("m"), "walls and diagonals read"),
            Symbol(render_symbol("f"), "readings to spare; negative: missing"),
        ),
        sources=(
            MethodSource(
                "rank of the distances' equations at the plan",
                Provenance.PROJECT_CHOICE,
            ),
            ADJUSTING,
        ),
        limits=(
            "Walls are asked for first, then the plan's diagonals, then any other pair"
            " of corners; each only if it adds something.",
            "Enough readings in the wrong places are still not enough.",
        ),
        examples=(_what_is_missing,),
    ),
)
