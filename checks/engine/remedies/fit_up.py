"""Remedies for steel that does not go together although each plate may go on alone.

The order: measure again where readings are in doubt; open the plates that decide it;
move all the steel where that leaves less to open; refer. All but the first need the
engineer.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from checks.engine import cautions
from checks.engine.constants import INCH_MM
from checks.engine.remedies.remedy import (
    Advice,
    Remedy,
    rank_remedies,
    refer_to_engineer,
)
from core.units import LengthStyle, format_length
from core.vocabulary import Approval, RemedyKind

SHOWN_DENOMINATOR = 32
MAX_LISTED_PLATES = 4

NOT_INCLUDED = "Tolerances of the members themselves are not in it."


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateOpening:
    """One plate to open: the hole as a shop makes it, and the exact need. [mm]"""

    mark: str
    hole: float
    exact: float
    edge_allows: bool | None  # None where the detail gives no edge distance

    def as_result(self) -> Mapping[str, Any]:
        """Return an entry of the remedy's `open`."""
        return {"mark": self.mark, "hole": self.hole, "exact": self.exact}


@dataclass(frozen=True, slots=True, kw_only=True)
class SteelMove:
    """A move of all the steel that leaves less to open. [mm, rad]"""

    x: float
    y: float
    turn: float
    text: str  # such as `1/4" right`
    openings: tuple[PlateOpening, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FitUpCase:
    """A misfit that no single plate explains, and its cures. Lengths in mm.

    Attributes
    ----------
    element : such as `bay S2 to S3`, empty where no single bay or frame explains it.
    deciding : marks of the positions that decide it, the first the most.
    misfit : radius that the holes lack, beyond plates that do not go on alone.
    plates_alone : marks of those plates.
    openings : few plates to open that would do, the steel in its planned place.
    move : None where moving the steel gains nothing.
    """

    style: LengthStyle
    element: str
    deciding: tuple[str, ...]
    misfit: float
    plates_alone: tuple[str, ...]
    openings: tuple[PlateOpening, ...]
    move: SteelMove | None


def advise_fit_up(case: FitUpCase, remeasure: Remedy | None) -> Advice:
    """Propose what makes the steel go together.

    Parameters
    ----------
    case : FitUpCase
    remeasure : Remedy or None
        The remedy to measure again, where there is a reason for it already.
    """
    statement = _describe_misfit(case)
    remedies = [] if remeasure is None else [remeasure]
    ruled_out = []
    tight = [each.mark for each in case.openings if each.edge_allows is False]
    if tight:
        ruled_out.append(
            (
                RemedyKind.REAM,
                f"Opening {_list_marks(tight)} that far leaves less edge distance than"
                " AISC 360 Table J3.4 asks for.",
            )
        )
    else:
        remedies.append(_propose_openings(case, statement))
    if case.move is not None:
        remedies.append(_propose_move(case.move, case))
    remedies.append(
        refer_to_engineer(
            "Let the members give what is missing, or accept it as it is."
        )
    )
    return Advice(remedies=rank_remedies(remedies), ruled_out=tuple(ruled_out))


def format_shortage(mm: float, style: LengthStyle) -> str:
    """Format a missing length, which is never shown as none. [mm]"""
    shown = format_length(mm, style, SHOWN_DENOMINATOR)
    if shown != format_length(0.0, style, SHOWN_DENOMINATOR):
        return shown
    least = 0.1 if style == "metric" else INCH_MM / SHOWN_DENOMINATOR
    return f"less than {format_length(least, style, SHOWN_DENOMINATOR)}"


def describe_openings(openings: Sequence[PlateOpening], style: LengthStyle) -> str:
    """Describe which plates are opened to what hole: `S2 and S3 to 1 1/16"`."""
    by_hole: dict[str, list[str]] = {}
    for each in openings:
        hole = format_length(each.hole, style, 16)
        by_hole.setdefault(hole, []).append(each.mark)
    return _join([f"{_list_marks(marks)} to {hole}" for hole, marks in by_hole.items()])


def _describe_misfit(case: FitUpCase) -> str:
    shortage = format_shortage(case.misfit, case.style)
    if case.element:
        statement = (
            f"As measured, {case.element} cannot keep its length: the holes lack"
            f" {shortage} on each side"
        )
    else:
        statement = (
            f"As measured, the columns round {_list_marks(case.deciding)} cannot all"
            " stand on their lines and keep the bays and frames at their lengths: the"
            f" holes lack {shortage} on each side"
        )
    if case.plates_alone:
        own = "its own finding" if len(case.plates_alone) == 1 else "their own findings"
        statement += f", apart from {_list_marks(case.plates_alone)} with {own}"
    return statement


def _propose_openings(case: FitUpCase, statement: str) -> Remedy:
    opened = describe_openings(case.openings, case.style)
    unknown = any(each.edge_allows is None for each in case.openings)
    edge = " The detail gives no edge distance to check." if unknown else ""
    return Remedy(
        kind=RemedyKind.REAM,
        approval=Approval.ENGINEER,
        reason=f"{statement}; opening {opened} would do.{edge} {NOT_INCLUDED}",
        cautions=(cautions.SCREENING, cautions.RODS, cautions.WASHER),
        quantities={"open": [each.as_result() for each in case.openings]},
    )


def _propose_move(move: SteelMove, case: FitUpCase) -> Remedy:
    left = (
        f"opening {describe_openings(move.openings, case.style)} would do"
        if move.openings
        else "no hole has to be opened"
    )
    return Remedy(
        kind=RemedyKind.SHIFT,
        approval=Approval.ENGINEER,
        reason=f"With all the steel moved {move.text}, {left}.",
        cautions=(cautions.SCREENING, cautions.NOTICES),
        quantities={
            "scope": "steel",
            "shift_x": move.x,
            "shift_y": move.y,
            "turn": move.turn,
            "open": [each.as_result() for each in move.openings],
        },
        why_second="It moves steel whose own rods are in place.",
    )


def _list_marks(marks: Sequence[str]) -> str:
    """List some marks by name and count the rest."""
    more = len(marks) - MAX_LISTED_PLATES
    listed = list(marks[:MAX_LISTED_PLATES])
    return _join([*listed, f"{more} more"] if more > 0 else listed)


def _join(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
