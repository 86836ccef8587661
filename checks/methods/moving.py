"""Moving the steel instead of the rods."""

from math import hypot

import numpy as np

from checks.engine import cautions
from checks.engine.arrays import FloatArray
from checks.engine.steel import SteelMove, fit_frame_line, fit_steel
from checks.methods.model import (
    FOOT,
    INCH,
    Example,
    Line,
    Method,
    Piece,
    Result,
    Source,
    Symbol,
    amount,
    fine,
    given,
    length,
    said,
)
from checks.methods.notation import formula, root, sign

ALLOWED = INCH / 8.0
SEARCH = Source(
    "J. Matousek, Discrete Comput. Geom. 14, 1995: few conflicts decide", "from memory"
)


def _count(flags: np.ndarray) -> Piece:
    return amount(float(np.count_nonzero(flags)), "", 0)


def _turned() -> Example:
    turn, long, wide = 0.0005, 60.0 * FOOT, 40.0 * FOOT
    planned = np.array([[0, 0], [long, 0], [long, wide], [0, wide], [long / 2, 0]])
    arm = planned - [long / 2.0, wide / 2.0]
    off = turn * np.stack([-arm[:, 1], arm[:, 0]], axis=1)
    off[4, 1] += INCH
    found = fit_steel(
        planned[:, None],
        (planned + off)[:, None],
        np.full((5, 1), ALLOWED),
        effort="quick",
    )
    corner = turn * hypot(*arm[0])
    centre = turn * (wide / 2.0 - wide * 2.0 / 5.0)
    return Example(
        title="60 ft by 40 ft laid out a little turned, one position an inch"
        " off",
        given=(
            given("Positions", "four corners, and the middle of one long wall"),
            given("Laid out turned by", amount(1000.0 * turn, "mrad")),
            given("The one in the middle is off, inward", length(INCH)),
            given("Allowed at each rod", length(ALLOWED)),
        ),
        steps=_turned_by_hand(corner, centre),
        results=(
            Result("To rework as built", _count(found.rework_before),
                   amount(5.0, "", 0)),
            Result("To rework after the move", _count(found.rework_after),
                   amount(1.0, "", 0)),
            Result("Turn, counter-clockwise", amount(1000.0 * found.turn_rad, "mrad"),
                   amount(1000.0 * turn, "mrad"), leaves_out=1e-6),
            Result("Shift right", fine(found.shift_mm[0], signed=True),
                   fine(centre, signed=True), leaves_out=1e-6),
        ),
    )  # fmt: skip


def _turned_by_hand(corner: float, centre: float) -> tuple[Line, ...]:
    return (
        said(
            "A corner is √(30² + 20²) ft from the middle: 0.0005 × that = ",
            fine(corner),
            " off, more than ",
            length(ALLOWED),
            ".",
        ),
        said("The steel turned alike, all four are on; the fifth is still off."),
        said(
            "The middle of the five lies 4 ft from that of the building: 0.0005 ×"
            " 4 ft = ",
            fine(centre),
            " to move along.",
        ),
    )  # fmt: skip


def _line() -> Example:
    off = np.array([4.0, 6.0, -2.0]) * INCH / 16.0
    planned = np.stack([np.zeros(3), 20.0 * FOOT * np.arange(3)], axis=1)
    rods = planned + np.stack([off, np.zeros(3)], axis=1)
    found: SteelMove = fit_frame_line(
        planned[:, None], rods[:, None], np.full((3, 1), ALLOWED), np.array([1.0, 0.0])
    )
    middle = (off[0] + off[1]) / 2.0
    return Example(
        title="A frame line of three columns",
        given=(
            given(
                "Off across the line",
                length(off[0], signed=True),
                ", ",
                length(off[1], signed=True),
                ", ",
                length(off[2], signed=True),
            ),
            given("Allowed at each rod", length(ALLOWED)),
        ),
        steps=(
            *(
                said(
                    f"Column {i + 1} takes a move of ",
                    length(each - ALLOWED),
                    " to ",
                    length(each + ALLOWED),
                    ".",
                )
                for i, each in enumerate(off)
            ),
            said(
                "The first two overlap; half-way between them the worst is least: ",
                length(middle),
                ".",
            ),
        ),
        results=_line_results(off, found, middle),
    )  # fmt: skip


def _line_results(
    off: FloatArray, found: SteelMove, middle: float
) -> tuple[Result, ...]:
    return (
        Result("Move across", length(found.shift_mm[0], signed=True),
               length(middle, signed=True), leaves_out=1e-6),
        Result("To rework as built", _count(found.rework_before),
               _count(np.abs(off) > ALLOWED)),
        Result("To rework after the move", _count(found.rework_after),
               _count(np.abs(off - middle) > ALLOWED)),
        Result("Worst of those kept, beyond what is allowed",
               length(found.miss_after_mm[0], signed=True),
               length(off[1] - middle - ALLOWED, signed=True), leaves_out=1e-6),
    )  # fmt: skip


METHODS = (
    Method(
        slug="move-steel",
        name="Moving all the steel",
        answers="The one shift and turn of all the steel that leaves least to rework.",
        engine=("steel", "steel_grid", "steel_search", "steel_vote"),
        formulas=(
            formula("m_p = max(| R p_i + s − r_i | − a_i)"),
            formula('"fewest" m_p > 0 ", then least" max m_p'),
        ),
        symbols=(
            Symbol(sign("m_p"), "miss of a position, its worst rod", "mm"),
            Symbol(sign("R , s"), "turn and shift of the steel"),
            Symbol(sign("p , r"), "rod as planned and as built", "mm"),
            Symbol(sign("a"), "allowed: the hole's clearance", "mm"),
        ),
        sources=(
            SEARCH,
            Source(
                "candidate moves voted on by all positions, the kept ones fitted as"
                " one plate",
                "ours",
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
    Method(
        slug="move-frame-line",
        name="Moving one frame line",
        answers="How far to move one frame line's steel so that least is reworked.",
        engine=("steel",),
        formulas=(formula("| m − q | ≤", root("a^2 − n^2")),),
        symbols=(
            Symbol(sign("m"), "move of the line, across it", "mm"),
            Symbol(sign("q"), "a rod off its planned place, across the line", "mm"),
            Symbol(sign("n"), "the same rod off along the line", "mm"),
            Symbol(sign("a"), "allowed: the hole's clearance", "mm"),
        ),
        sources=(Source("the move that most positions allow, exact", "ours"),),
        limits=(
            "Across the line and without a turn.",
            "Looked for where two plates or more of the line do not go on as drawn.",
            "Bays on either side grow and shrink by the move: the engineer decides.",
        ),
        examples=(_line,),
        cautions=(cautions.SCREENING, cautions.NOTICES),
    ),
)
