"""Remedies for a low pad: a shim stack, or lowering the high pad."""

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
from core.units import LengthStyle, format_against_limit, format_length
from core.vocabulary import Approval, RemedyKind


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelCase:
    """One low pad. Lengths in mm.

    `shim` is the height of the nearest stack, NaN where no stack of the given
    thicknesses brings the pad within; `stack` its plates, thickest first.
    `thread_left` is the thread above the nut after shimming, NaN where unknown.
    """

    style: LengthStyle
    shortfall: float
    limit: float
    shim_up_to: float
    shim: float
    stack: tuple[str, ...]
    residual: float
    thread_left: float
    lower_pad: Mapping[str, Any] | None


def advise_level(case: LevelCase, remeasure: Remedy | None) -> Advice:
    """Propose a shim for a low pad, lowering the high one, or the engineer.

    Columns are raised, never lowered. The shim is the achievable stack nearest to the
    shortfall; beyond `shim_up_to` the engineer chooses (grout, plate, re-casting).
    Both limits are common practice. A pad within its limit whose readings are in doubt
    is only measured again.
    """
    remedies = [] if remeasure is None else [remeasure]
    ruled_out: list[tuple[RemedyKind, str]] = []
    short = format_length(case.shortfall, case.style, 32)
    no_stack = case.shim != case.shim
    if remedies and no_stack and case.shortfall <= case.limit + SLACK_MM:
        return Advice(remedies=rank_remedies(remedies))
    if case.shortfall > case.shim_up_to + SLACK_MM:
        up_to = format_length(case.shim_up_to, case.style)
        short = format_against_limit(case.shortfall, case.shim_up_to, case.style, 32)
        short = short[:1].upper() + short[1:]
        reason = (
            f"{short} below the highest pad is more than the {up_to} that shims make up"
            " (common practice): grout, a thicker plate or re-casting is the"
            " engineer's choice."
        )
        ruled_out.append((RemedyKind.SHIM, reason))
        remedies.append(refer_to_engineer(reason, shortfall=case.shortfall))
        remedies += _propose_lowering(case)
    elif no_stack:
        reason = (
            f"{short} below the highest pad: no stack of the given shims comes within"
            f" {format_length(case.limit, case.style)} of that."
        )
        ruled_out.append((RemedyKind.SHIM, reason))
        remedies.append(refer_to_engineer(reason, shortfall=case.shortfall))
        remedies += _propose_lowering(case)
    else:
        remedies.append(_propose_shim(case))
        remedies += _propose_lowering(case)
        remedies.append(
            refer_to_engineer("Grout, plate or re-casting instead of shims.")
        )
    return Advice(remedies=rank_remedies(remedies), ruled_out=tuple(ruled_out))


def _propose_shim(case: LevelCase) -> Remedy:
    short = format_length(case.shortfall, case.style, 32)
    stack = " + ".join(case.stack)
    reason = (
        f"{short} below the highest pad; the nearest stack is {stack},"
        f" {format_length(case.shim, case.style, 32)}."
    )
    if case.thread_left < -SLACK_MM:
        missing = format_length(-case.thread_left, case.style, 32)
        reason += (
            f" With it the nut is {missing} short of full thread: the engineer must"
            " agree."
        )
    elif case.thread_left != case.thread_left:
        reason += " The thread it leaves above the nut is not known for every rod."
    quantities: dict[str, Any] = {
        "shim": case.shim,
        "stack": list(case.stack),
        "residual": case.residual,
    }
    if case.thread_left == case.thread_left:
        quantities["thread_left"] = case.thread_left
    return Remedy(
        kind=RemedyKind.SHIM,
        approval=Approval.ENGINEER if case.thread_left < -SLACK_MM else Approval.FIELD,
        reason=reason,
        cautions=(cautions.UNDER_PLATE, cautions.NOTICES),
        quantities=quantities,
    )


def _propose_lowering(case: LevelCase) -> list[Remedy]:
    if case.lower_pad is None:
        return []
    pad = case.lower_pad
    return [
        Remedy(
            kind=RemedyKind.LOWER_PAD,
            approval=Approval.ENGINEER,
            reason=(
                f"Pad {pad['mark']} alone stands high; lowering it by"
                f" {format_length(pad['lower_by'], case.style, 32)} saves"
                f" {pad['shims_saved']} shims."
            ),
            cautions=(cautions.SCREENING, cautions.DRILLING),
            quantities=dict(pad),
        )
    ]
