"""Rods: where each is, and how a group of them lies."""

from math import atan, sqrt

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.pattern import PatternSolution, solve_patterns
from checks.engine.rigid import RigidFit, fit_rigid
from checks.methods.model import (
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
)
from checks.methods.notation import around, formula, frac, raised, row, sign, total

ADJUSTING = Source(
    "C. D. Ghilani, Adjustment Computations, chapters 10, 11 and 14", "from memory"
)
FOUR = np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]]) * INCH


def _solved() -> Example:
    sigma, back, side, over = 0.8, 4.0 * INCH, 2.0 * INCH, INCH / 16.0
    found = solve_patterns(
        [[-side, back], [side, back]],
        [0, 0],
        setback=([0, 1], [back, back], sigma),
        offset=([0, 1], [-side, side + over], sigma),
        gage=([0], [1], [2.0 * side], sigma),
    )
    return Example(
        title="Two rods and the gage between them",
        given=(
            given("Setbacks read", length(back), " and ", length(back)),
            given("Offsets read", length(-side), " and ", length(side + over)),
            given("Gage read", length(2.0 * side)),
            given("Standard uncertainty of each", fine(sigma)),
        ),
        steps=_solved_by_hand(sigma, side, over),
        results=_solved_results(sigma, back, side, over, found),
    )


def _solved_by_hand(sigma: float, side: float, over: float) -> tuple[Line, ...]:
    third = over / 3.0
    return (
        said(
            "The offsets put the rods ",
            length(2.0 * side + over),
            " apart, the gage ",
            length(2.0 * side),
            ": ",
            length(over),
            " does not fit.",
        ),
        said(
            "Three readings, equally good, share it: ",
            length(over),
            " ÷ 3 = ",
            fine(third),
            " each.",
        ),
        said(
            "Two readings tell each rod's place along: ",
            fine(sigma),
            " × √(2 ÷ 3) = ",
            fine(sigma * sqrt(2.0 / 3.0)),
            ".",
        ),
    )


def _solved_results(
    sigma: float,
    back: float,
    side: float,
    over: float,
    found: PatternSolution,
) -> tuple[Result, ...]:
    third = over / 3.0
    return (
        Result(
            "Rod 1, along",
            fine(found.rods_mm[0, 0], signed=True),
            fine(-side + third, signed=True),
        ),
        Result(
            "Rod 2, along",
            fine(found.rods_mm[1, 0], signed=True),
            fine(side + over - third, signed=True),
        ),
        Result("Rod 1, in", length(found.rods_mm[0, 1]), length(back)),
        Result(
            "Change of the gage",
            fine(found.gage_residuals_mm[0], signed=True),
            fine(third, signed=True),
        ),
        Result(
            "Standard uncertainty of rod 1, along",
            fine(found.sigma_mm[0, 0]),
            fine(sigma * sqrt(2.0 / 3.0)),
        ),
    )


def _group() -> Example:
    along, turned = INCH / 8.0, 1.0 / 48.0
    built = FOUR + [along, 0.0] + turned * np.stack([-FOUR[:, 1], FOUR[:, 0]], axis=1)
    found = fit_rigid(FOUR[None], built[None])
    off = built - FOUR
    squares = float((FOUR**2).sum())
    return Example(
        title="Four rods 6 in apart both ways",
        given=tuple(
            given(
                f"Rod {i + 1} off the plan",
                length(off[i, 0], signed=True),
                " along, ",
                length(off[i, 1], signed=True),
                " in",
            )
            for i in range(4)
        ),
        steps=(
            said(
                "The mean of the four, along: ",
                length(off[:, 0].mean(), signed=True),
                "; in: ",
                length(off[:, 1].mean(), signed=True),
                ".",
            ),
            said(
                "About the middle each rod is at (±3, ±3) in and has moved on by"
                " 1/16 in both ways, square to its arm."
            ),
            said(
                "Σ(p × m) ÷ Σ(p · m) = ",
                amount(turned * squares / INCH**2, "in²"),
                " ÷ ",
                amount(squares / INCH**2, "in²", 0),
                " = 1/48.",
            ),
        ),
        results=_group_results(turned, found, off),
    )


def _group_results(
    turned: float, found: RigidFit, off: FloatArray
) -> tuple[Result, ...]:
    return (
        Result(
            "Shift along",
            length(found.shift_mm[0, 0], signed=True),
            length(off[:, 0].mean(), signed=True),
        ),
        Result(
            "Shift in",
            length(found.shift_mm[0, 1], signed=True),
            length(off[:, 1].mean(), signed=True),
        ),
        Result(
            "Turn, counter-clockwise",
            amount(1000.0 * found.turn_rad[0], "mrad", 3),
            amount(1000.0 * atan(turned), "mrad", 3),
        ),
    )


METHODS = (
    Method(
        slug="rods",
        name="Where each rod is",
        answers="The place of every rod of a pattern, from whatever was read of it.",
        engine=("pattern",),
        formulas=(
            formula('"least" ', total("", raised(around(frac("y − s", "u_s")), "2"))),
            formula("+", total("", raised(around(frac("x − o", "u_o")), "2"))),
            formula("+", total("", raised(around(frac("| Δ | − g", "u_g")), "2"))),
        ),
        symbols=(
            Symbol(sign("x , y"), "a rod, along and in from the steel line", "mm"),
            Symbol(sign("s"), "setback read", "mm"),
            Symbol(sign("o"), "offset read, from the reference line", "mm"),
            Symbol(sign("g"), "gage read", "mm"),
            Symbol(sign("| Δ |"), "distance of the two rods of a gage", "mm"),
            Symbol(sign("u"), "standard uncertainty of each reading", "mm"),
        ),
        sources=(ADJUSTING,),
        limits=(
            "A rod is determined only if what was read fixes it; a gage counts only"
            " between two rods that are.",
            "Of two places a gage allows, the one nearest the plan is taken.",
            "Readings that fit no pattern near the plan are to be taken again.",
            "A reference line not measured is taken to be where the plan has it.",
        ),
        examples=(_solved,),
    ),
    Method(
        slug="group-shift",
        name="Shift and turn of a group",
        answers="How a whole group of rods lies against the plan, as one body.",
        engine=("rigid",),
        formulas=(
            formula(
                "θ = atan",
                frac(
                    row(total("", "(p_x m_y − p_y m_x)")),
                    row(total("", "(p_x m_x + p_y m_y)")),
                ),
            ),
            formula('"shift" =', frac("1", "n"), total("", '("built" − "planned")')),
        ),
        symbols=(
            Symbol(sign("θ"), "turn, counter-clockwise", "rad"),
            Symbol(sign("p"), "planned rod, from the group's middle", "mm"),
            Symbol(sign("m"), "the same rod as built, from theirs", "mm"),
            Symbol(sign("n"), "rods of the group"),
        ),
        sources=(
            Source(
                "B. K. P. Horn, J. Opt. Soc. Am. A 4(4), 1987; S. Umeyama, IEEE Trans."
                " PAMI 13(4), 1991, without its scale",
                "from memory",
            ),
        ),
        limits=(
            "No scale is fitted: steel has none.",
            "One rod, or rods in one place, give a shift and no turn.",
            "It describes the group; whether the plate goes on is another question.",
        ),
        examples=(_group,),
    ),
)
