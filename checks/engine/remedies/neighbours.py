"""Remedies for a bay or a span that is too long or too short."""

import math
from dataclasses import dataclass

from checks.engine.remedies.remedy import (
    Advice,
    Remedy,
    propose_remeasurement,
    rank_remedies,
    refer_to_engineer,
)
from core.units import LengthStyle, format_length


@dataclass(frozen=True, slots=True, kw_only=True)
class NeighbourCase:
    """One bay or span that is outside its limit. Lengths in mm.

    Attributes
    ----------
    check, name : its key, and its name in a sentence.
    deviation, limit : as read, and what is allowed either way.
    predicted : deviation that other readings give; NaN where they do not.
    contradicts : true where the readings cannot all be right.
    sources, sources_name : the checks that measure the same length, and their name.
    unread : those of them that were not read.
    repeated : true where it was read more than once.
    """

    style: LengthStyle
    check: str
    name: str
    deviation: float
    limit: float
    predicted: float
    contradicts: bool
    sources: tuple[str, ...]
    sources_name: str
    unread: tuple[str, ...]
    repeated: bool


def advise_neighbours(case: NeighbourCase, remeasure: Remedy | None) -> Advice:
    """Propose what to measure again, and the engineer where nothing is in doubt.

    Parameters
    ----------
    case : NeighbourCase
        [mm]
    remeasure : Remedy or None
        The remedy to measure again, where the readings of the length itself are in
        doubt.
    """
    first = remeasure or _doubt_readings(case)
    referral = refer_to_engineer(
        f"{_describe_deviation(case)} What joins the two columns keeps its own length,"
        " so the difference falls on their holes and their plumb.",
        deviation=case.deviation,
        limit=case.limit,
    )
    remedies = [referral] if first is None else [first, referral]
    return Advice(remedies=rank_remedies(remedies))


def _doubt_readings(case: NeighbourCase) -> Remedy | None:
    """Propose to measure again where other readings do not confirm the length."""
    subject = _describe_deviation(case)
    if case.unread:
        return propose_remeasurement(
            f"{subject} Measure {case.sources_name} first: they show which of the two"
            " is off.",
            case.unread,
        )
    if case.contradicts:
        return propose_remeasurement(
            f"{subject} By {case.sources_name} it is {_describe_amount(case)}: one of"
            " these readings is wrong. Measure them again.",
            (*case.sources, case.check),
        )
    if math.isnan(case.predicted):
        if case.repeated:
            return None
        return propose_remeasurement(
            f"{subject} Nothing else measures this length: read it a second time, with"
            " another tape or on another day.",
            (case.check,),
        )
    if case.predicted * case.deviation > 0 and abs(case.predicted) > case.limit:
        # Both say the same: each line keeps its limit, and together they do not.
        return None
    return propose_remeasurement(
        f"{subject} By {case.sources_name} it is {_describe_amount(case)}, which is"
        " within. Measure them again first.",
        (*case.sources, case.check),
    )


def _describe_deviation(case: NeighbourCase) -> str:
    name = case.name[:1].upper() + case.name[1:]
    amount = format_length(abs(case.deviation), case.style, 32)
    word = "long" if case.deviation > 0 else "short"
    return f"{name} is {amount} too {word}."


def _describe_amount(case: NeighbourCase) -> str:
    amount = format_length(abs(case.predicted), case.style, 32)
    if abs(case.predicted) <= case.limit / 2.0:
        return f"as planned, within {amount}"
    return f"{amount} too {'long' if case.predicted > 0 else 'short'}"
