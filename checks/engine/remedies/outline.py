"""Remedies for an outline that is out of square or out of size."""

from collections.abc import Mapping, Sequence
from typing import Any

from checks.engine import cautions
from checks.engine.remedies.remedy import (
    Advice,
    Remedy,
    propose_remeasurement,
    rank_remedies,
    refer_to_engineer,
)
from core.units import LengthStyle, format_length
from core.vocabulary import Approval, RemedyKind

MIN_CORNER_MOVE_MM = 25.4 / 64.0
"""Moves below this are omitted: no crew sets forms closer. [mm] Project choice."""


def advise_square(
    *,
    difference: float | None,
    square: bool,
    contradicted: bool,
    moves: Sequence[Mapping[str, Any]],
    missing: Sequence[str],
    remeasure: Remedy | None,
    style: LengthStyle,
) -> Advice:
    """Propose which corners to move, along which walls, and how far.

    Parameters
    ----------
    difference : float or None
        Difference of the diagonals, None where it is not known. [mm]
    square : bool
        The diagonals agree, so that only the size is out.
    contradicted : bool
        The lengths cannot all be right, so that nothing is squared up on them.
    moves : sequence of mappings
        One per corner: `corner`, `wall`, `move` in mm, `dx`, `dy`. Moves of less than
        `MIN_CORNER_MOVE_MM` are omitted.
    missing : sequence of str
        Keys of the readings the adjustment still needs.
    remeasure : Remedy or None
        The remedy to measure again, where there is a reason for it.
    style : LengthStyle
        How lengths are written.
    """
    remedies = [] if remeasure is None else [remeasure]
    ruled_out: list[tuple[RemedyKind, str]] = []
    listed = [move for move in moves if abs(move["move"]) >= MIN_CORNER_MOVE_MM]
    if contradicted:
        why_not = "The lengths contradict each other: one of them is wrong."
        ruled_out.append((RemedyKind.SQUARE_UP, why_not))
    elif square:
        why_not = "The diagonals agree: the size is out, not the shape."
        ruled_out.append((RemedyKind.SQUARE_UP, why_not))
    elif listed:
        remedies.append(_propose_moves(listed, difference, style))
    elif moves:
        why_not = "The walls stand at the plan's angles: the size is out."
        ruled_out.append((RemedyKind.SQUARE_UP, why_not))
    elif missing and remeasure is None:
        remedies.append(
            propose_remeasurement(
                "The outline is out. To compute how to square it up, measure"
                f" {', '.join(missing)}.",
                missing,
            )
        )
    # A contradiction alone is cured by reading again: there is nothing to lay out.
    if not (contradicted and square and remeasure is not None):
        remedies.append(
            refer_to_engineer("Lay the steel line out again within the concrete.")
        )
    return Advice(remedies=rank_remedies(remedies), ruled_out=tuple(ruled_out))


def _propose_moves(
    moves: Sequence[Mapping[str, Any]], difference: float | None, style: LengthStyle
) -> Remedy:
    """Propose to square up by moving corners; `difference` of the diagonals in mm."""
    listed = "; ".join(
        f"corner {move['corner']} by {format_length(abs(move['move']), style, 32)}"
        f" along {move['wall']}"
        for move in moves
    )
    state = (
        "The outline is out of square."
        if difference is None
        else f"The diagonals differ by {format_length(difference, style, 32)}."
    )
    return Remedy(
        kind=RemedyKind.SQUARE_UP,
        approval=Approval.ENGINEER,
        reason=(
            f"{state} To square it up, move {listed}. Before the pour move the forms;"
            " afterwards move the steel line, if the rods allow it and the engineer"
            " agrees."
        ),
        cautions=(cautions.SCREENING,),
        quantities={"moves": [dict(move) for move in moves]},
    )


def advise_wall(
    deviation: float, wall: str, style: LengthStyle, remeasure: Remedy | None
) -> Advice:
    """Propose remedies for a wall too long or too short. `deviation` in mm."""
    remedies = [] if remeasure is None else [remeasure]
    amount = format_length(abs(deviation), style, 32)
    word = "long" if deviation > 0 else "short"
    remedies.append(
        refer_to_engineer(
            f"Wall {wall} is {amount} too {word}. The steel keeps its own length, so"
            " the difference falls on the notch, the sheeting and the end bays.",
            deviation=deviation,
        )
    )
    return Advice(remedies=rank_remedies(remedies))
