"""Moving the steel instead of the rods."""

from math import hypot

import numpy as np

from checks.engine import cautions
from checks.engine.arrays import FloatArray
from checks.engine.sources import Provenance
from checks.engine.steel_shift.best_shift import (
    SteelShift,
    fit_frame_line_shift,
    fit_steel_shift,
)
from checks.methods.mathml import render_formula, render_root, render_symbol
from checks.methods.model import (
    FOOT_MM,
    INCH_MM,
    Example,
    ExampleResult,
    ExampleText,
    ExampleValue,
    MethodDescription,
    MethodSource,
    Symbol,
    describe_input,
    show_fine_length,
    show_length,
    show_quantity,
    write_text,
)

ALLOWED = INCH_MM / 8.0
SEARCH = MethodSource(
    "J. Matousek, Discrete Comput. Geom. 14, 1995: few conflicts decide",
    Provenance.FROM_MEMORY,
)


def _count(flags: np.ndarray) -> ExampleValue:
    return show_quantity(float(np.count_nonzero(flags)), "", 0)


def _turned() -> Example:
    turn, long, wide = 0.0005, 60.0 * FOOT_MM, 40.0 * FOOT_MM
    planned = np.array([[0, 0], [long, 0], [long, wide], [0, wide], [long / 2, 0]])
    arm = planned - [long / 2.0, wide / 2.0]
    off = turn * np.stack([-arm[:, 1], arm[:, 0]], axis=1)
    off[4, 1] += INCH_MM
    found = fit_steel_shift(
        planned[:, None],
        (planned + off)[:, None],
        np.full((5, 1), ALLOWED),
        effort="quick",
    )
    corner = turn * hypot(*arm[0])
    centre = turn * (wide / 2.0 - wide * 2.0 / 5.0)
    return Example(
        title="60 ft by 40 ft laid out a little turned, one position an inch off",
        inputs=(
            describe_input(
                "Positions", "four corners, and the middle of one long wall"
            ),
            describe_input("Laid out turned by", show_quantity(1000.0 * turn, "mrad")),
            describe_input(
                "The one in the middle is off, inward", show_length(INCH_MM)
            ),
            describe_input("Allowed at each rod", show_length(ALLOWED)),
        ),
        steps=_turned_by_hand(corner, centre),
        results=(
            ExampleResult(
                "To rework as built",
                _count(found.rework_before),
                show_quantity(5.0, "", 0),
            ),
            ExampleResult(
                "To rework after the move",
                _count(found.rework_after),
                show_quantity(1.0, "", 0),
            ),
            ExampleResult(
                "Turn, counter-clockwise",
                show_quantity(1000.0 * found.rotation_rad, "mrad"),
                show_quantity(1000.0 * turn, "mrad"),
                hand_tolerance=1e-6,
            ),
            ExampleResult(
                "Shift right",
                show_fine_length(found.shift_mm[0], signed=True),
                show_fine_length(centre, signed=True),
                hand_tolerance=1e-6,
            ),
        ),
    )


def _turned_by_hand(corner: float, centre: float) -> tuple[ExampleText, ...]:
    return (
        write_text(
            "A corner is √(30² + 20²) ft from the middle: 0.0005 × that = ",
            show_fine_length(corner),
            " off, more than ",
            show_length(ALLOWED),
            ".",
        ),
        write_text("The steel turned alike, all four are on; the fifth is still off."),
        write_text(
            "The middle of the five lies 4 ft from that of the building: 0.0005 ×"
            " 4 ft = ",
            show_fine_length(centre),
            " to move along.",
        ),
    )


def _line() -> Example:
    off = np.array([4.0, 6.0, -2.0]) * INCH_MM / 16.0
    planned = np.stack([np.zeros(3), 20.0 * FOOT_MM * np.arange(3)], axis=1)
    rods = planned + np.stack([off, np.zeros(3)], axis=1)
    found: SteelShift = fit_frame_line_shift(
        planned[:, None], rods[:, None], np.full((3, 1), ALLOWED), np.array([1.0, 0.0])
    )
    middle = (off[0] + off[1]) / 2.0
    return Example(
        title="A frame line of three columns",
        inputs=(
            describe_input(
                "Off across the line",
                show_length(off[0], signed=True),
                ", ",
                show_length(off[1], signed=True),
                ", ",
                show_length(off[2], signed=True),
            ),
            describe_input("Allowed at each rod", show_length(ALLOWED)),
        ),
        steps=(
            *(
                write_text(
                    f"Column {i + 1} takes a move of ",
                    show_length(each - ALLOWED),
                    " to ",
                    show_length(each + ALLOWED),
                    ".",
                )
                for i, each in enumerate(off)
            ),
            write_text(
                "The first two overlap; half-way between them the worst is least: ",
                show_length(middle),
                ".",
            ),
        ),
        results=_line_results(off, found, middle),
    )


def _line_results(
    off: FloatArray, found: SteelShift, middle: float
) -> tuple[ExampleResult, ...]:
    return (
        ExampleResult(
            "Move across",
            show_length(found.shift_mm[0], signed=True),
            show_length(middle, signed=True),
            hand_tolerance=1e-6,
        ),
        ExampleResult(
            "To rework as built",
            _count(found.rework_before),
            _count(np.abs(off) > ALLOWED),
        ),
        ExampleResult(
            "To rework after the move",
            _count(found.rework_after),
            _count(np.abs(off - middle) > ALLOWED),
        ),
        ExampleResult(
            "Worst of those kept, beyond what is allowed",
            show_length(found.excess_after_mm[0], signed=True),
            show_length(off[1] - middle - ALLOWED, signed=True),
            hand_tolerance=1e-6,
        ),
    )


METHODS = (
    MethodDescription(
        slug="move-steel",
        name="Moving all the steel",
        summary="The one shift and turn of all the steel that leaves least to rework.",
        engine=(
            "steel_shift.best_shift",
            "steel_shift.grid",
            "steel_shift.exact",
            "steel_shift.heuristic",
        ),
        formulas=(
            render_formula("m_p = max(| R p_i + s − r_i | − a_i)"),
            render_formula('"fewest" m_p > 0 ", then least" max m_p'),
        ),
        symbols=(
            Symbol(render_symbol("m_p"), "miss of a position, its worst rod", "mm"),
            Symbol(render_symbol("R , s"), "turn and shift of the steel"),
            Symbol(render_symbol("p , r"), "rod as planned and as built", "mm"),
            Symbol(render_symbol("a"), "allowed: the hole's clearance", "mm"),
        ),
        sources=(
            SEARCH,
            MethodSource(
                "candidate moves voted on by all positions, the kept ones fitted as"
                " one plate",
                Provenance.PROJECT_CHOICE,
            ),
        ),
        limits=(
            "Looked for where two plates or more do not go on as drawn.",
            "The best of many candidates, nearly always the best there is; where it is"
            " proven the result says so.",
            "Offered to the engineer with its effect on every position, never applied"
            " by itself.",
        ),
        examples=(_turned,),
        cautions=(cautions.SCREENING, cautions.NOTICES),
    ),
    MethodDescription(
        slug="move-frame-line",
        name="Moving one frame line",
        summary="How far to move one frame line's steel so that least is reworked.",
        engine=("steel_shift.best_shift",),
        formulas=(render_formula("| m − q | ≤", render_root("a^2 − n^2")),),
        symbols=(
            Symbol(render_symbol("m"), "move of the line, across it", "mm"),
            Symbol(
                render_symbol("q"), "a rod off its planned place, across the line", "mm"
            ),
            Symbol(render_symbol("n"), "the same rod off along the line", "mm"),
            Symbol(render_symbol("a"), "allowed: the hole's clearance", "mm"),
        ),
        sources=(
            MethodSource(
                "the move that most positions allow, exact", Provenance.PROJECT_CHOICE
            ),
        ),
        limits=(
            "Across the line and without a turn.",
            "Looked for where two plates or more of the line do not go on as drawn.",
            "Bays on either side grow and shrink by the move: the engineer decides.",
        ),
        examples=(_line,),
        cautions=(cautions.SCREENING, cautions.NOTICES),
    ),
)
