"""Levels, projection, strength, notch and plumb: what cures each."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelCase:
    """One low pad. Lengths in mm.

    `shim` is the nearest stack's height, NaN where no stack of the given
    thicknesses brings the pad within; `stack` its plates, thickest first.
    `thread_left` is what stands above the nut after shimming, NaN where unknown.
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
    """A pad below the highest: shim it, or lower the high one, or ask.

    Columns are raised, never lowered. The shim is the achievable stack nearest to
    the shortfall; beyond `shim_up_to` the engineer chooses (grout, plate, re-cast).
    Both limits are common practice. A pad within its limit, whose readings are in
    doubt, is only measured again.
    """
    found = [] if remeasure is None else [remeasure]
    out: list[tuple[str, str]] = []
    short = format_length(case.shortfall, case.style, 32)
    unshimmed = case.shim != case.shim
    if found and unshimmed and case.shortfall <= case.limit + SLACK_MM:
        return Advice(remedies=rank_remedies(found))
    if case.shortfall > case.shim_up_to + SLACK_MM:
        up_to = format_length(case.shim_up_to, case.style)
        short = f"Just over {up_to}" if short == up_to else short
        reason = (
            f"{short} below the highest pad is more than the {up_to} that is shimmed"
            " (common practice): grout, a thicker plate or re-casting is the"
            " engineer's choice."
        )
        out.append(("shim", reason))
        found.append(refer_to_engineer(reason, shortfall=case.shortfall))
        found += _lower_pad(case)
    elif unshimmed:
        reason = (
            f"{short} below the highest pad: no stack of the given shims comes within"
            f" {format_length(case.limit, case.style)} of that."
        )
        out.append(("shim", reason))
        found.append(refer_to_engineer(reason, shortfall=case.shortfall))
        found += _lower_pad(case)
    else:
        found.append(_shim(case))
        found += _lower_pad(case)
        found.append(refer_to_engineer("Grout, plate or re-casting instead of shims."))
    return Advice(remedies=rank_remedies(found), ruled_out=tuple(out))


def _shim(case: LevelCase) -> Remedy:
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
        reason += " What thread it leaves above the nut is not known of every rod."
    figures: dict[str, Any] = {
        "shim": case.shim,
        "stack": list(case.stack),
        "residual": case.residual,
    }
    if case.thread_left == case.thread_left:
        figures["thread_left"] = case.thread_left
    return Remedy(
        remedy="shim",
        approval="engineer" if case.thread_left < -SLACK_MM else "field",
        reason=reason,
        cautions=(cautions.UNDER_PLATE, cautions.NOTICES),
        quantities=figures,
    )


def _lower_pad(case: LevelCase) -> list[Remedy]:
    if case.lower_pad is None:
        return []
    pad = case.lower_pad
    return [
        Remedy(
            remedy="lower_pad",
            approval="engineer",
            reason=(
                f"Pad {pad['mark']} alone stands high; lowering it by"
                f" {format_length(pad['lower_by'], case.style, 32)} saves"
                f" {pad['shims_saved']} shims."
            ),
            cautions=(cautions.SCREENING, cautions.DRILLING),
            quantities=dict(pad),
        )
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProjectionCase:
    """One position's rods too short or too long. Lengths in mm; NaN where not known.

    `rods` are those the figures are of. `within` says that they keep the limit of
    placing and only lack thread, `too_long` which others stand too long.
    """

    style: LengthStyle
    rods: tuple[int, ...]
    deviation: float
    thread_left: float
    engaged: float
    within: bool = False
    too_long: tuple[int, ...] = ()


def advise_projection(case: ProjectionCase, remeasure: Remedy | None) -> Advice:
    """Too short: what thread is missing. Too long: washers; no structural matter.

    Partial engagement counts pro rata only where at least half the nut is engaged
    (AISC Design Guide 1, 2nd ed., secondary source).
    """
    found = [] if remeasure is None else [remeasure]
    off = format_length(abs(case.deviation), case.style, 32)
    figures: dict[str, Any] = {"rods": list(case.rods), "deviation": case.deviation}
    if case.thread_left == case.thread_left:
        figures |= {"thread_left": case.thread_left, "engaged": case.engaged}
    if case.deviation > 0 and not case.within:
        reason = (
            f"{off} too long: washers or spacers under the nut; nothing structural"
            " unless the rod fouls the section."
        )
        found.append(refer_to_engineer(reason, **figures))
        return Advice(remedies=rank_remedies(found))
    if case.thread_left >= -SLACK_MM:
        left = format_length(case.thread_left, case.style, 32)
        reason = (
            f"{off} too short, yet the nut is fully engaged with {left} to spare: the"
            " engineer can accept it as it is."
        )
        found.append(refer_to_engineer(reason, **figures))
        found.append(_extend_rod(case, figures))
    elif case.thread_left != case.thread_left:
        reason = (
            f"{off} too short; plate or nut is not known, so neither is the thread."
        )
        found.append(refer_to_engineer(reason, **figures))
    else:
        found.append(_extend_rod(case, figures))
        found.append(
            refer_to_engineer("Another way to the thread that is missing.", **figures)
        )
    if case.too_long:
        rods = " and ".join(str(rod) for rod in case.too_long)
        found.append(
            refer_to_engineer(
                f"Rods too long, {rods}: washers or spacers under the nut."
            )
        )
    return Advice(remedies=rank_remedies(found))


def _extend_rod(case: ProjectionCase, figures: Mapping[str, Any]) -> Remedy:
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
        else ("Within the limit of placing, yet " if case.within else "")
        + f"{missing} of thread is missing; {case.engaged:.0%} of the nut is"
        f" engaged, {credit} (AISC Design Guide 1, secondary source). A coupling or a"
        " welded extension, as the engineer orders."
    )
    return Remedy(
        remedy="extend_rod",
        approval="engineer",
        reason=reason,
        cautions=(cautions.SCREENING, cautions.RODS),
        quantities=figures,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthCase:
    """Concrete below what erection needs. [MPa]; ratios NaN without a specified one.

    `required` is the lower of the two routes' requirements.
    """

    strength: float
    required: float
    ratio: float
    required_ratio: float
    samples: tuple[str, ...]


def advise_strength(case: StrengthCase, remeasure: Remedy | None = None) -> Advice:
    """Concrete below what erection needs: wait, or the engineer's other route.

    Where companions disagree (`again`), another look comes before the figure counts.

    29 CFR 1926.752(a)(1): 75 % of the specified strength on field-cured samples, or
    enough for the loads of erection.
    """
    figures: dict[str, Any] = {
        "strength": case.strength,
        "required_strength": case.required,
    }
    share = ""
    if case.ratio == case.ratio:
        figures |= {"ratio": case.ratio, "required": case.required_ratio}
        share = f", {case.ratio:.1%} of the specified strength"
    wait = Remedy(
        remedy="wait_for_strength",
        approval="field",
        reason=(
            f"The lowest of the latest field-cured samples has {case.strength:.2f} MPa"
            f"{share}; {case.required:.2f} MPa is needed (29 CFR 1926.752(a)(1))."
        ),
        cautions=(cautions.NOTICES,),
        quantities={**figures, "samples": list(case.samples)},
    )
    other = refer_to_engineer(
        "The engineer may state in writing a strength sufficient for the loads of"
        " erection, the rule's other route."
    )
    return Advice(
        remedies=rank_remedies([wait if remeasure is None else remeasure, other])
    )


def advise_notch(
    deviation: float, style: LengthStyle, remeasure: Remedy | None
) -> Advice:
    """The sheeting notch: it keeps weather out and holds nothing up."""
    found = [] if remeasure is None else [remeasure]
    off = format_length(abs(deviation), style, 32)
    word = "wider or deeper" if deviation > 0 else "narrower or shallower"
    found.append(
        refer_to_engineer(
            f"The notch is {off} {word} than planned: trim, closure or flashing, as"
            " the supplier's drawings allow.",
            deviation=deviation,
        )
    )
    return Advice(remedies=rank_remedies(found))


def advise_plumb(
    out_of_plumb: float,
    height: float,
    limit: float,
    axis: str,
    style: LengthStyle,
    remeasure: Remedy | None,
) -> Advice:
    """A column out of plumb: pull its top back by the lean.

    One within its limit, whose readings are in doubt, is only measured again. Where
    the limit comes from is said by the tolerances in force.
    """
    found = [] if remeasure is None else [remeasure]
    if found and abs(out_of_plumb) <= limit + SLACK_MM:
        return Advice(remedies=rank_remedies(found))
    move = format_length(abs(out_of_plumb), style, 32)
    allowed = format_length(limit, style, 32)
    one_in = f" (1/{height / limit:.0f})"
    allowed = f"a little less than {allowed}" if move == allowed else allowed
    found.append(
        Remedy(
            remedy="plumb_up",
            approval="field",
            reason=(
                f"Leans {move} {axis} over {format_length(height, style)};"
                f" {allowed} is allowed{one_in}. Move the top {move} the other"
                " way."
            ),
            cautions=(cautions.SCREENING,),
            quantities={"move": -out_of_plumb, "axis": axis, "height": height},
        )
    )
    return Advice(remedies=rank_remedies(found))
