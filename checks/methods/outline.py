"""The outline: its figure from walls and diagonals, its lean, how to square it up."""

from math import sqrt

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.network import CRITICAL_W, adjust_distances
from checks.engine.outline import OutlineAdjustment, adjust_outline
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
    words,
    yes_no,
)
from checks.methods.notation import (
    around,
    formula,
    frac,
    raised,
    root,
    row,
    sign,
    total,
)

LONG, WIDE, ACROSS = 40.0 * FOOT, 30.0 * FOOT, 50.0 * FOOT
PLAN = np.array([[0.0, 0.0], [LONG, 0.0], [LONG, WIDE], [0.0, WIDE]])
PAIRS = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [0, 2], [1, 3]])
NAMES = ("A", "B", "C", "D")
LENGTHS = ("wall A-B", "wall B-C", "wall C-D", "wall D-A", "diagonal A-C", "B-D")
SIGMA = 2.0

SNOOPING = Source(
    "W. Baarda, A testing procedure for use in geodetic networks, 1968",
    "published, seen second-hand",
)
ADJUSTING = Source(
    "C. D. Ghilani, Adjustment Computations, chapters 14 and 21", "from memory"
)
KRUMM = "quoted in F. Krumm, Geodetic Network Adjustment Examples, 2020"
GEOMETRY = Source("plane geometry", "published")


def _rectangle() -> Example:
    off, roughly = INCH, 2e-3
    read = [LONG, WIDE, LONG, WIDE, ACROSS + off, ACROSS]
    found = adjust_outline(PLAN, PAIRS, read, SIGMA)
    shares = np.array([4.0, 3.0, 4.0, 3.0, -5.0, -5.0])
    squares = float(shares @ shares)
    by_hand = 5.0 * off * shares / squares
    w = 5.0 * off / (sqrt(squares) * SIGMA)
    return Example(
        title="40 ft by 30 ft, one diagonal read an inch long",
        given=(
            given("Walls read", length(LONG), " and ", length(WIDE), ", both of each"),
            given("Diagonals read", length(read[4]), " and ", length(read[5])),
            given("Standard uncertainty of each", fine(SIGMA)),
        ),
        steps=_rectangle_by_hand(off, squares, w, by_hand),
        results=_rectangle_results(w, by_hand, found, roughly),
    )


def _rectangle_by_hand(
    off: float, squares: float, w: float, by_hand: FloatArray
) -> tuple[Line, ...]:
    return (
        said("4 corners: 2 × 4 − 3 = 5 unknowns; 6 readings, so 1 to spare."),
        said(
            "The squares of the two diagonals make those of the four walls, so to"
            " first order what does not fit is shared 4, 3, 4, 3, 5 and 5: walls"
            " longer, diagonals shorter."
        ),
        said("4² + 3² + 4² + 3² + 5² + 5² = ", amount(squares, "", 0), "."),
        said(
            "Each diagonal: ",
            length(off),
            " × 5 × 5 ÷ 100 = ",
            fine(-by_hand[4]),
            "; each long wall: ",
            length(off),
            " × 5 × 4 ÷ 100 = ",
            fine(by_hand[0]),
            ".",
        ),
        said(
            "|w| of every reading: ",
            length(off),
            " × 5 ÷ (√100 × ",
            fine(SIGMA),
            ") = ",
            amount(w),
            ".",
        ),
    )


def _rectangle_results(
    w: float, by_hand: FloatArray, found: OutlineAdjustment, roughly: float
) -> tuple[Result, ...]:
    return (
        *(
            Result(
                f"Change of {LENGTHS[i]}",
                fine(found.residuals_mm[i], signed=True),
                fine(by_hand[i], signed=True),
                leaves_out=roughly,
            )
            for i in range(len(LENGTHS))
        ),
        Result(
            "Largest |w|",
            amount(np.abs(found.w).max()),
            amount(w),
            leaves_out=roughly,
        ),
        Result(
            "Smallest |w|",
            amount(np.abs(found.w).min()),
            amount(w),
            leaves_out=roughly,
        ),
        Result(
            f"Something wrong (|w| over {CRITICAL_W})",
            yes_no(found.cannot_tell or found.suspect.any()),
            yes_no(w > CRITICAL_W),
        ),
        Result(
            "Which reading",
            words("cannot tell" if found.cannot_tell else "named"),
            words("cannot tell"),
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
        source=Source(
            f"Benning, Statistik in Geodäsie, Geoinformation und Bauwesen, 2011,"
            f" example 8-2; {KRUMM}",
            "published, seen second-hand",
        ),
        given=(
            given("Held", "1 at (0, 1000) m, 2 at (1000, 1000) m"),
            given("1 to 3, 1 to 4", "1000.02 m, 1414.20 m"),
            given("2 to 3, 2 to 4", "1414.24 m, 999.98 m"),
            given("3 to 4", "1000.00 m"),
            given("Standard uncertainty of each", "10 mm"),
        ),
        steps=(said("4 unknowns, 5 distances: 1 to spare, so every |w| is the same."),),
        results=_missing_side_results(sd, published, points),
    )


def _missing_side_results(
    sd: FloatArray,
    published: tuple[tuple[str, float, float], tuple[str, float, float]],
    points: FloatArray,
) -> tuple[Result, ...]:
    return (
        *(
            Result(
                f"Point {name}, {axis}",
                amount(points[i, k], "m", 4),
                published=amount(places[k], "m", 4),
            )
            for i, (name, *places) in enumerate(published)
            for k, axis in enumerate("xy")
        ),
        Result(
            "Standard deviation of 3, x",
            amount(sd[0], "mm"),
            published=amount(9.01, "mm"),
        ),
        Result(
            "Standard deviation of 3, y",
            amount(sd[1], "mm"),
            published=amount(6.37, "mm"),
        ),
    )


def _what_is_missing() -> Example:
    nothing = float("nan")
    read = [LONG, WIDE, LONG, WIDE, nothing, nothing]
    found = adjust_outline(PLAN, PAIRS, read, SIGMA, [[0, 2], [1, 3]])
    named = [" to ".join(NAMES[i] for i in pair) for pair in found.missing.tolist()]
    return Example(
        title="Four walls and no diagonal",
        given=(
            given("Walls read", length(LONG), " and ", length(WIDE), ", both of each"),
            given("Diagonals", "none"),
        ),
        steps=(
            said("2 × 4 − 3 = 5 unknowns; 4 readings: one is missing."),
            said("Four hinged walls lean freely; the first diagonal holds them."),
        ),
        results=(
            Result(
                "Readings to spare",
                amount(found.degrees_of_freedom, "", 0),
                amount(4 - 5, "", 0),
            ),
            Result("Missing", words(", ".join(named)), words("A to C")),
        ),
    )


METHODS = (
    Method(
        slug="outline",
        name="Outline from walls and diagonals",
        answers="The figure that was built, and which reading does not fit it.",
        engine=("outline", "network"),
        formulas=(
            formula('"least" ', total("", raised(around(frac("l − d", "σ")), "2"))),
            formula("d =", root("(x_j − x_i)^2 + (y_j − y_i)^2")),
            formula("r_i = 1 − h_{ii}"),
            formula("w_i =", frac("v_i", row("σ_i", root("r_i")))),
        ),
        symbols=(
            Symbol(sign("l"), "each wall and diagonal as read", "mm"),
            Symbol(sign("d"), "the same between the corners found", "mm"),
            Symbol(sign("σ"), "its standard uncertainty", "mm"),
            Symbol(sign("v"), "change of a reading, d − l", "mm"),
            Symbol(sign("h"), "diagonal of the weighted hat matrix"),
            Symbol(sign("r"), "share of a mistake that shows in v, 0 to 1"),
            Symbol(sign("w"), "v over its own standard deviation"),
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
    Method(
        slug="missing-reading",
        name="Which reading is missing",
        answers="What still has to be measured before the outline has one figure.",
        engine=("outline",),
        formulas=(formula("f = m − (2 n − 3)"),),
        symbols=(
            Symbol(sign("n"), "corners"),
            Symbol(sign("m"), "walls and diagonals read"),
            Symbol(sign("f"), "readings to spare; negative: missing"),
        ),
        sources=(
            Source("rank of the distances' equations at the plan", "ours"),
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
