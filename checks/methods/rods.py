"""Rods: where each is, and how a group of them lies."""

from math import atan, sqrt

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.pattern import PatternSolution, solve_patterns
from checks.engine.rigid_fit import RigidFit, fit_rigid
from checks.engine.sources import Provenance
from checks.methods.mathml import (
    group_parts,
    render_formula,
    render_fraction,
    render_parentheses,
    render_power,
    render_sum,
    render_symbol,
)
from checks.methods.model import (
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
    write_text,
)

ADJUSTING = MethodSource(
    "C. D. Ghilani, Adjustment Computations, chapters 10, 11 and 14",
    Provenance.FROM_MEMORY,
)
FOUR = np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]]) * INCH_MM


def _solved() -> Example:
    sigma, back, side, over = 0.8, 4.0 * INCH_MM, 2.0 * INCH_MM, INCH_MM / 16.0
    found = solve_patterns(
        [[-side, back], [side, back]],
        [0, 0],
        setback=([0, 1], [back, back], sigma),
        offset=([0, 1], [-side, side + over], sigma),
        gage=([0], [1], [2.0 * side], sigma),
    )
    return Example(
        title="Two rods and the gage between them",
        inputs=(
            describe_input(
                "Setbacks read", show_length(back), " and ", show_length(back)
            ),
            describe_input(
                "Offsets read", show_length(-side), " and ", show_length(side + over)
            ),
            describe_input("Gage read", show_length(2.0 * side)),
            describe_input("Standard uncertainty of each", show_fine_length(sigma)),
        ),
        steps=_solved_by_hand(sigma, side, over),
        results=_solved_results(sigma, back, side, over, found),
    )


def _solved_by_hand(sigma: float, side: float, over: float) -> tuple[ExampleText, ...]:
    third = over / 3.0
    return (
        write_text(
            "The offsets put the rods ",
            show_length(2.0 * side + over),
            " apart, the gage ",
            show_length(2.0 * side),
            ": ",
            show_length(over),
            " does not fit.",
        ),
        write_text(
            "Three readings, equally good, share it: ",
            show_length(over),
            " ÷ 3 = ",
            show_fine_length(third),
            " each.",
        ),
        write_text(
            "Two readings tell each rod's place along: ",
            show_fine_length(sigma),
            " × √(2 ÷ 3) = ",
            show_fine_length(sigma * sqrt(2.0 / 3.0)),
            ".",
        ),
    )


def _solved_results(
    sigma: float,
    back: float,
    side: float,
    over: float,
    found: PatternSolution,
) -> tuple[ExampleResult, ...]:
    third = over / 3.0
    return (
        ExampleResult(
            "Rod 1, along",
            show_fine_length(found.rods_mm[0, 0], signed=True),
            show_fine_length(-side + third, signed=True),
        ),
        ExampleResult(
            "Rod 2, along",
            show_fine_length(found.rods_mm[1, 0], signed=True),
            show_fine_length(side + over - third, signed=True),
        ),
        ExampleResult("Rod 1, in", show_length(found.rods_mm[0, 1]), show_length(back)),
        ExampleResult(
            "Change of the gage",
            show_fine_length(found.gage_residuals_mm[0], signed=True),
            show_fine_length(third, signed=True),
        ),
        ExampleResult(
            "Standard uncertainty of rod 1, along",
            show_fine_length(found.sigma_mm[0, 0]),
            show_fine_length(sigma * sqrt(2.0 / 3.0)),
        ),
    )


def _group() -> Example:
    along, turned = INCH_MM / 8.0, 1.0 / 48.0
    built = FOUR + [along, 0.0] + turned * np.stack([-FOUR[:, 1], FOUR[:, 0]], axis=1)
    found = fit_rigid(FOUR[None], built[None])
    off = built - FOUR
    squares = float((FOUR**2).sum())
    return Example(
        title="Four rods 6 in apart both ways",
        inputs=tuple(
            describe_input(
                f"Rod {i + 1} off the plan",
                show_length(off[i, 0], signed=True),
                " along, ",
                show_length(off[i, 1], signed=True),
                " in",
            )
            for i in range(4)
        ),
        steps=(
            write_text(
                "The mean of the four, along: ",
                show_length(off[:, 0].mean(), signed=True),
                "; in: ",
                show_length(off[:, 1].mean(), signed=True),
                ".",
            ),
            write_text(
                "About the middle each rod is at (±3, ±3) in and has moved on by"
                " 1/16 in both ways, square to its arm."
            ),
            write_text(
                "Σ(p × m) ÷ Σ(p · m) = ",
                show_quantity(turned * squares / INCH_MM**2, "in²"),
                " ÷ ",
                show_quantity(squares / INCH_MM**2, "in²", 0),
                " = 1/48.",
            ),
        ),
        results=_group_results(turned, found, off),
    )


def _group_results(
    turned: float, found: RigidFit, off: FloatArray
) -> tuple[ExampleResult, ...]:
    return (
        ExampleResult(
            "Shift along",
            show_length(found.shift_mm[0, 0], signed=True),
            show_length(off[:, 0].mean(), signed=True),
        ),
        ExampleResult(
            "Shift in",
            show_length(found.shift_mm[0, 1], signed=True),
            show_length(off[:, 1].mean(), signed=True),
        ),
        ExampleResult(
            "Turn, counter-clockwise",
            show_quantity(1000.0 * found.rotation_rad[0], "mrad", 3),
            show_quantity(1000.0 * atan(turned), "mrad", 3),
        ),
    )


METHODS = (
    MethodDescription(
        slug="rods",
        name="Where each rod is",
        summary="The place of every rod of a pattern, from whatever was read of it.",
        engine=("pattern",),
        formulas=(
            render_formula(
                '"least" ',
                render_sum(
                    "",
                    render_power(
                        render_parentheses(render_fraction("y − s", "u_s")), "2"
                    ),
                ),
            ),
            render_formula(
                "+",
                render_sum(
                    "",
                    render_power(
                        render_parentheses(render_fraction("x − o", "u_o")), "2"
                    ),
                ),
            ),
            render_formula(
                "+",
                render_sum(
                    "",
                    render_power(
                        render_parentheses(render_fraction("| Δ | − g", "u_g")), "2"
                    ),
                ),
            ),
        ),
        symbols=(
            Symbol(
                render_symbol("x , y"), "a rod, along and in from the steel line", "mm"
            ),
            Symbol(render_symbol("s"), "setback read", "mm"),
            Symbol(render_symbol("o"), "offset read, from the reference line", "mm"),
            Symbol(render_symbol("g"), "gage read", "mm"),
            Symbol(render_symbol("| Δ |"), "distance of the two rods of a gage", "mm"),
            Symbol(render_symbol("u"), "standard uncertainty of each reading", "mm"),
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
    MethodDescription(
        slug="group-shift",
        name="Shift and turn of a group",
        summary="How a whole group of rods lies against the plan, as one body.",
        engine=("rigid_fit",),
        formulas=(
            render_formula(
                "θ = atan",
                render_fraction(
                    group_parts(render_sum("", "(p_x m_y − p_y m_x)")),
                    group_parts(render_sum("", "(p_x m_x + p_y m_y)")),
                ),
            ),
            render_formula(
                '"shift" =',
                render_fraction("1", "n"),
                render_sum("", '("built" − "planned")'),
            ),
        ),
        symbols=(
            Symbol(render_symbol("θ"), "turn, counter-clockwise", "rad"),
            Symbol(render_symbol("p"), "planned rod, from the group's middle", "mm"),
            Symbol(render_symbol("m"), "the same rod as built, from theirs", "mm"),
            Symbol(render_symbol("n"), "rods of the group"),
        ),
        sources=(
            MethodSource(
                "B. K. P. Horn, J. Opt. Soc. Am. A 4(4), 1987; S. Umeyama, IEEE Trans."
                " PAMI 13(4), 1991, without its scale",
                Provenance.FROM_MEMORY,
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
