"""The outline out of square or out of size."""

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

MIN_CORNER_MOVE_MM = 25.4 / 64.0
"""A move of less is none: no crew sets forms closer. [mm] Ours."""


def advise_square(
    *,
    difference: float | None,
    square: bool,
    moves: Sequence[Mapping[str, Any]],
    missing: Sequence[str],
    remeasure: Remedy | None,
    style: LengthStyle,
) -> Advice:
    """Out of square: which corner to move, along which wall, by how much.

    Parameters
    ----------
    difference : difference of the diagonals, None where it is not known. [mm]
    square : whether the diagonals agree, so that it is the size that is out.
    moves : one mapping per corner: `corner`, `wall`, `move` in mm, `dx`, `dy`; those
        of less than `LEAST_MOVE_MM` are left out.
    missing : keys of the readings the figure still needs.
    again : the remedy to measure again, where there is a reason to.
    style : how lengths are written.
    """
    found = [] if remeasure is None else [remeasure]
    out: list[tuple[str, str]] = []
    told = [move for move in moves if abs(move["move"]) >= MIN_CORNER_MOVE_MM]
    if square:
        out.append(
            ("square_up", "The diagonals agree: its size is out, not its shape.")
        )
    elif told:
        each = "; ".join(
            f"{move['corner']} by {format_length(abs(move['move']), style, 32)} along"
            f" {move['wall']}"
            for move in told
        )
        off = (
            "The outline"
            if difference is None
            else f"Diagonals {format_length(difference, style, 32)} apart: the outline"
        )
        found.append(
            Remedy(
                remedy="square_up",
                approval="engineer",
                reason=(
                    f"{off} comes square by moving {each}. Before the pour the forms"
                    " are moved; afterwards the steel line is, if the rods allow it,"
                    " and the engineer must agree."
                ),
                cautions=(cautions.SCREENING,),
                quantities={"moves": [dict(move) for move in told]},
            )
        )
    elif moves:
        out.append(
            ("square_up", "Its sides stand at the plan's angles: its size is out.")
        )
    elif missing and remeasure is None:
        found.append(
            propose_remeasurement(
                "The outline is out, and how to square it up cannot be said until"
                f" these are measured: {', '.join(missing)}.",
                missing,
            )
        )
    found.append(
        refer_to_engineer("The steel line is laid out anew within the concrete.")
    )
    return Advice(remedies=rank_remedies(found), ruled_out=tuple(out))


def advise_wall(
    deviation: float, wall: str, style: LengthStyle, remeasure: Remedy | None
) -> Advice:
    """A wall long or short beyond its limit. `deviation` in mm."""
    found = [] if remeasure is None else [remeasure]
    off = format_length(abs(deviation), style, 32)
    word = "long" if deviation > 0 else "short"
    found.append(
        refer_to_engineer(
            f"Wall {wall} is {off} {word}: the steel keeps its own length, so the"
            " difference falls on notch, sheeting and end bays.",
            deviation=deviation,
        )
    )
    return Advice(remedies=rank_remedies(found))
