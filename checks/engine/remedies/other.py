"""Remedies for low strength, the sheeting notch and columns out of plumb."""

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
from core.formatting import format_mpa, format_psi
from core.units import LengthStyle, format_against_limit, format_length
from core.vocabulary import Approval, RemedyKind


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthCase:
    """Concrete below the strength for erection. [MPa]; `style` writes its units.

    Ratios are NaN without a specified strength. `required` is the lower of the two
    routes' requirements.
    """

    strength: float
    required: float
    ratio: float
    required_ratio: float
    samples: tuple[str, ...]
    style: LengthStyle


def advise_strength(case: StrengthCase, remeasure: Remedy | None = None) -> Advice:
    """Propose to wait for strength, or the engineer's other route.

    Where companions disagree (`remeasure`), testing again comes first.

    29 CFR 1926.752(a)(1): 75 % of the specified strength on field-cured samples, or
    enough for the loads of erection.
    """
    quantities: dict[str, Any] = {
        "strength": case.strength,
        "required_strength": case.required,
    }
    share = ""
    if case.ratio == case.ratio:
        quantities |= {"ratio": case.ratio, "required": case.required_ratio}
        share = f", {case.ratio:.1%} of the specified strength"
    strength, required = _format_pair(case.strength, case.required, case.style)
    wait = Remedy(
        kind=RemedyKind.WAIT_FOR_STRENGTH,
        approval=Approval.FIELD,
        reason=(
            f"The lowest of the latest field-cured samples has {strength}"
            f"{share}; {required} is needed (29 CFR 1926.752(a)(1))."
        ),
        cautions=(cautions.NOTICES,),
        quantities={**quantities, "samples": list(case.samples)},
    )
    other = refer_to_engineer(
        "The engineer may state in writing a strength sufficient for the loads of"
        " erection, the rule's other route."
    )
    return Advice(
        remedies=rank_remedies([wait if remeasure is None else remeasure, other])
    )


def _format_pair(
    strength_mpa: float, required_mpa: float, style: LengthStyle
) -> tuple[str, str]:
    """Write a strength that is too low beside the one required. [MPa]

    To the hundredth of a MPa, or to 1 psi, so that the two never look alike.
    """
    if style == "metric":
        strength, required = (
            format_mpa(mpa, decimals=2) for mpa in (strength_mpa, required_mpa)
        )
    else:
        strength, required = format_psi(strength_mpa), format_psi(required_mpa)
    return (f"just under {required}" if strength == required else strength), required


def advise_notch(
    deviation: float, style: LengthStyle, remeasure: Remedy | None
) -> Advice:
    """Propose remedies for the sheeting notch, which keeps weather out, no more."""
    remedies = [] if remeasure is None else [remeasure]
    amount = format_length(abs(deviation), style, 32)
    word = "wider or deeper" if deviation > 0 else "narrower or shallower"
    remedies.append(
        refer_to_engineer(
            f"The notch is {amount} {word} than planned: trim, closure or flashing, as"
            " the supplier's drawings allow.",
            deviation=deviation,
        )
    )
    return Advice(remedies=rank_remedies(remedies))


def advise_plumb(
    out_of_plumb: float,
    height: float,
    limit: float,
    axis: str,
    style: LengthStyle,
    remeasure: Remedy | None,
) -> Advice:
    """Propose to move the top of a column back by what it is out of plumb.

    A column within its limit whose readings are in doubt is only measured again. The
    source of the limit stands with the tolerances in force.
    """
    remedies = [] if remeasure is None else [remeasure]
    if remedies and abs(out_of_plumb) <= limit + SLACK_MM:
        return Advice(remedies=rank_remedies(remedies))
    move = format_length(abs(out_of_plumb), style, 32)
    way = _describe_direction(out_of_plumb, axis)
    allowed = format_length(limit, style, 32)
    lean = format_against_limit(abs(out_of_plumb), limit, style, 32)
    one_in = f" (1/{height / limit:.0f})"
    remedies.append(
        Remedy(
            kind=RemedyKind.PLUMB_UP,
            approval=Approval.FIELD,
            reason=(
                f"Out of plumb by {lean} {way} over {_format_height(height, style)};"
                f" {allowed} is allowed{one_in}. Move the top {move} the other way."
            ),
            cautions=(cautions.SCREENING,),
            quantities={"move": -out_of_plumb, "axis": axis, "height": height},
        )
    )
    return Advice(remedies=rank_remedies(remedies))


def _describe_direction(out_of_plumb: float, axis: str) -> str:
    """Describe the direction that a column leans in."""
    if axis == "in":
        return "inward" if out_of_plumb > 0 else "outward"
    return "along the wall"


def _format_height(height: float, style: LengthStyle) -> str:
    """Format a height; whole millimetres as such, since a height is no deviation."""
    return format_length(height, style).replace(".0 mm", " mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultantLean:
    """A column within its limit along each axis, but not by both together.

    `out_of_plumb` is along the axis that leans more, over `height`; `slope` that of
    both axes, `ratio` its limit. [mm, 1]
    """

    out_of_plumb: float
    axis: str
    height: float
    slope: float
    ratio: float


def advise_resultant_plumb(
    lean: ResultantLean, style: LengthStyle, remeasure: Remedy | None
) -> Advice:
    """Propose to move the top back along the axis that leans more.

    The other axis is within by itself and may stay.
    """
    move = format_length(abs(lean.out_of_plumb), style, 32)
    way = _describe_direction(lean.out_of_plumb, lean.axis)
    both = format_length(lean.slope * lean.height, style, 32)
    remedies = [] if remeasure is None else [remeasure]
    remedies.append(
        Remedy(
            kind=RemedyKind.PLUMB_UP,
            approval=Approval.FIELD,
            reason=(
                "Each axis is within, but the limit is on the lean in any direction:"
                f" both together lean {both} over {_format_height(lean.height, style)},"
                f" 1/{1.0 / lean.slope:.0f}, where 1/{1.0 / lean.ratio:.0f} is allowed."
                f" It leans more {way}: move the top {move} the other way."
            ),
            cautions=(cautions.SCREENING,),
            quantities={
                "move": -lean.out_of_plumb,
                "axis": lean.axis,
                "height": lean.height,
            },
        )
    )
    return Advice(remedies=rank_remedies(remedies))
