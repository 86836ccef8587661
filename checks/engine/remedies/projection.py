"""Remedies for rods that project too little or too far."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from checks.engine import cautions
from checks.engine.conformity import SLACK_MM
from checks.engine.remedies.remedy import (
    Advice,
    Remedy,
    rank_remedies,
    refer_to_engineer,
)
from checks.engine.thread_engagement import MIN_ENGAGED_FRACTION
from core.units import LengthStyle, format_length
from core.vocabulary import Approval, RemedyKind


@dataclass(frozen=True, slots=True, kw_only=True)
class ProjectionCase:
    """One position's rods too short or too long. Lengths in mm; NaN where not known.

    `rods` are the rods that the other members describe. `within`: they keep the limit
    for placing and only lack thread. `too_long`: other rods that project too far.
    """

    style: LengthStyle
    rods: tuple[int, ...]
    deviation: float
    thread_left: float
    engaged: float
    within: bool = False
    too_long: tuple[int, ...] = ()


def advise_projection(case: ProjectionCase, remeasure: Remedy | None) -> Advice:
    """Propose an extension for rods too short, and washers for rods too long.

    Partial engagement counts pro rata only where at least half the nut is engaged
    (AISC Design Guide 1, 2nd ed., seen second-hand).
    """
    remedies = [] if remeasure is None else [remeasure]
    amount = format_length(abs(case.deviation), case.style, 32)
    quantities: dict[str, Any] = {"rods": list(case.rods), "deviation": case.deviation}
    if case.thread_left == case.thread_left:
        quantities |= {"thread_left": case.thread_left, "engaged": case.engaged}
    if case.deviation > 0 and not case.within:
        reason = (
            f"{amount} too long: washers or spacers under the nut. Not structural,"
            " unless the rod fouls the section."
        )
        remedies.append(refer_to_engineer(reason, **quantities))
        return Advice(remedies=rank_remedies(remedies))
    if case.thread_left >= -SLACK_MM:
        left = format_length(case.thread_left, case.style, 32)
        reason = (
            f"{amount} too short, yet the nut is fully engaged with {left} to spare:"
            " the engineer can accept it as it is."
        )
        remedies.append(refer_to_engineer(reason, **quantities))
        remedies.append(_propose_extension(case, quantities))
    elif case.thread_left != case.thread_left:
        reason = (
            f"{amount} too short. Plate or nut is not known, so neither is the thread."
        )
        remedies.append(refer_to_engineer(reason, **quantities))
    else:
        remedies.append(_propose_extension(case, quantities))
        remedies.append(
            refer_to_engineer("Another way to gain the missing thread.", **quantities)
        )
    if case.too_long:
        rods = " and ".join(str(rod) for rod in case.too_long)
        remedies.append(
            refer_to_engineer(
                f"Rods too long, {rods}: washers or spacers under the nut."
            )
        )
    return Advice(remedies=rank_remedies(remedies))


def _propose_extension(case: ProjectionCase, quantities: Mapping[str, Any]) -> Remedy:
    missing = format_length(max(-case.thread_left, 0.0), case.style, 32)
    credit = (
        "pro rata credit is possible"
        if case.engaged >= MIN_ENGAGED_FRACTION - 1e-9
        else "less than half the nut is engaged, so none is credited"
    )
    reason = (
        "No thread is missing; a coupling or a welded extension only if the engineer"
        " wants the planned length."
        if case.thread_left >= -SLACK_MM
        else ("Within the limit for placing, but " if case.within else "")
        + f"{missing} of thread is missing; {case.engaged:.0%} of the nut is"
        f" engaged, {credit} (AISC Design Guide 1, seen second-hand). A coupling or a"
        " welded extension, as the engineer orders."
    )
    return Remedy(
        kind=RemedyKind.EXTEND_ROD,
        approval=Approval.ENGINEER,
        reason=reason,
        cautions=(cautions.SCREENING, cautions.RODS),
        quantities=quantities,
    )
