"""Explanations of remedies, step by step, from the values that were computed.

Nothing is computed here that evaluation has not computed: the steps show values of
the remedy, the plan and the limits in the order in which they lead to the result.
"""

import math
from collections.abc import Callable, Iterator, Mapping

from checks.engine.conformity import SLACK_MM
from checks.engine.levelling.shim_choice import find_stacks_around
from checks.labels import AXIS_LABELS
from checks.queries.plate_explanations import (
    explain_new_plate,
    explain_re_anchor,
    explain_ream,
    explain_shift,
    explain_slot,
    list_screened_rods,
)
from checks.queries.remedy_steps import RemedyContext, Step, StepPart, build_step
from checks.queries.remedy_values import LabelledValue, list_values
from core.formatting import MINUS, TIMES, format_percent
from core.vocabulary import RemedyKind
from jobs.anchor_plan.values import Plan
from jobs.exchange.result.findings import RemedyResult

SUMMARY_MEMBERS = {
    "slots": ("rod", "axis", "length"),
    "washer": ("size", "thickness"),
    "plate": (
        "width",
        "depth",
        "thickness",
        "eccentricity_along",
        "eccentricity_in",
    ),
}
SCREEN_OUTCOMES = {"pass": "passes", "fail": "fails", "unknown": "not all known"}


def explain_remedy(remedy: RemedyResult, context: RemedyContext) -> tuple[Step, ...]:
    """Explain a remedy's arithmetic step by step; empty where it has none."""
    explain = EXPLAINERS.get(remedy["remedy"])
    return () if explain is None else tuple(explain(remedy, context))


def summarise_remedy(remedy: RemedyResult) -> list[LabelledValue]:
    """List the values to read first; of a replaced rod, the outcome of its screen.

    Members of a slot or a washer that are left out here are in the steps.
    """
    # A referral has the screen of a replacement that failed it.
    if not list_screened_rods(remedy):
        summary: dict[str, object] = {**remedy}
        for name, kept in SUMMARY_MEMBERS.items():
            value = summary.get(name)
            if isinstance(value, list):
                summary[name] = [_keep(row, kept) for row in value]
            elif isinstance(value, Mapping):
                summary[name] = _keep(value, kept)
        return list_values(summary)
    values = []
    for rod in list_screened_rods(remedy):
        outcome = rod.get("outcome", "unknown")
        values += [
            LabelledValue(f"rod {rod['rod']}, from the plan", mm=rod["miss"]),
            LabelledValue(
                f"rod {rod['rod']}, screen of the replacement",
                text=SCREEN_OUTCOMES.get(outcome, outcome),
            ),
        ]
    return values


def _keep(values: Mapping[str, object], names: tuple[str, ...]) -> dict[str, object]:
    """Return the members of these names, as far as a stored remedy has them."""
    return {name: values[name] for name in names if name in values}


def _explain_shim(remedy: RemedyResult, context: RemedyContext) -> Iterator[Step]:
    """Explain the stack; once shimmed, this pad may be the highest itself."""
    shim, left_over = remedy["shim"], remedy["residual"]
    if shim is None or left_over is None:
        return
    # The result keeps the stack and what is left over; their difference is exact.
    shortfall = shim - left_over
    levels = context.result["levels"]
    highest = levels.get("highest") if levels else None
    name = f"{highest}, " if highest and highest != context.mark else ""
    yield build_step(f"Below {name}the highest pad: ", shortfall, ".")
    yield build_step(
        "Allowed without shims: ",
        context.get_limit("pad_level"),
        ". Shims up to: ",
        context.get_limit("shim_up_to"),
        ".",
    )
    below, above = find_stacks_around(shortfall, _list_thicknesses(context.plan))
    near = [stack for stack in (below, above) if not math.isnan(stack)]
    if abs(shim - shortfall) <= SLACK_MM:
        yield build_step("The plates on hand add up to exactly that.")
    else:
        yield from _explain_nearest_stacks(near, shortfall)
    tie = len(near) > 1 and abs(below + above - 2 * shortfall) <= 2 * SLACK_MM
    why = "equally near, so the thinner" if tie else "the nearest"
    plates = " + ".join(remedy["stack"])
    yield build_step(f"Chosen, {why}: ", shim, f" = {plates}, in the fewest plates.")
    yield build_step(
        "Left over: ", shim, f" {MINUS} ", shortfall, " = ", left_over, ", within ",
        context.get_limit("pad_level"), ".",
    )  # fmt: skip
    if remedy.get("thread_left") is not None:
        yield build_step(
            f"Thread left above the nut: projection {MINUS} shim {MINUS} plate"
            f" {MINUS} washer {MINUS} nut at its thickest = ",
            remedy["thread_left"],
            ".",
        )


def _explain_nearest_stacks(near: list[float], shortfall: float) -> Iterator[Step]:
    for stack in near:
        side = "thinner" if stack <= shortfall else "thicker"
        yield build_step(
            f"Next {side} stack of the plates on hand: ",
            stack,
            ", off by ",
            abs(stack - shortfall),
            ".",
        )


def _list_thicknesses(plan: Plan) -> Iterator[float]:
    return (float(shim.mm) for shim in plan.shim_thicknesses)


def _explain_lower_pad(remedy: RemedyResult, context: RemedyContext) -> Iterator[Step]:
    yield build_step(
        f"From pad {remedy['mark']} down to the next highest: ",
        remedy["lower_by"],
        ".",
    )
    yield build_step(
        f"After that, {remedy['shims_saved']} fewer pads are more than ",
        context.get_limit("pad_level"),
        " below the highest.",
    )


def _explain_projection(remedy: RemedyResult, context: RemedyContext) -> Iterator[Step]:
    deviation, thread_left = remedy.get("deviation"), remedy.get("thread_left")
    if deviation is None or thread_left is None:
        return
    rods = ", ".join(str(rod) for rod in remedy["rods"])
    yield build_step(
        f"Rod {rods}, projection off by ",
        deviation,
        "; allowed either way: ",
        context.get_limit("projection"),
        ".",
    )
    engaged = format_percent(remedy.get("engaged") or 0.0)
    yield build_step(
        f"Thread left above the nut: projection as built {MINUS} plate {MINUS}"
        f" washer {MINUS} nut at its thickest = ",
        thread_left,
        f"; {engaged} of the nut is engaged.",
    )


def _explain_square_up(remedy: RemedyResult, context: RemedyContext) -> Iterator[Step]:
    yield build_step("From the outline adjusted to all walls and diagonals:")
    for move in remedy.get("moves", ()):
        yield build_step(
            f"Corner {move['corner']} along {move['wall']} by ",
            move["move"],
            ": ",
            move.get("dx"),
            " right, ",
            move.get("dy"),
            " up.",
        )


def _explain_plumb_up(remedy: RemedyResult, context: RemedyContext) -> Iterator[Step]:
    height, move = remedy.get("height"), remedy.get("move")
    if height is None or move is None:
        return
    ratio = context.get_limit("plumb")
    axis = next(
        (label for each, label in AXIS_LABELS.items() if each == remedy.get("axis")), ""
    )
    allowed = height * ratio
    yield build_step("Allowed: ", height, f" {TIMES} {ratio:g} = ", allowed, ".")
    yield build_step(
        "Lean over that height: ",
        -move,
        f" {axis}; the top moves by as much the other way.",
    )


def _explain_strength(remedy: RemedyResult, context: RemedyContext) -> Iterator[Step]:
    specified = context.plan.concrete.specified_strength
    lowest, needed = remedy.get("strength"), remedy.get("required_strength")
    if lowest is None or needed is None:
        return
    ratio = remedy.get("ratio")
    if specified is not None and ratio is not None:
        yield build_step(
            "Lowest of the latest samples: ",
            _strength(lowest),
            " ÷ ",
            _strength(specified),
            f" specified = {format_percent(ratio, 1)}.",
        )
    yield build_step(
        "Needed by the easier of the two legal routes: ",
        _strength(needed),
        "; missing ",
        _strength(needed - lowest),
        ".",
    )


def _strength(mpa: float) -> StepPart:
    return StepPart(value=mpa, unit="MPa")


EXPLAINERS: dict[str, Callable[[RemedyResult, RemedyContext], Iterator[Step]]] = {
    RemedyKind.SHIM: _explain_shim,
    RemedyKind.LOWER_PAD: _explain_lower_pad,
    RemedyKind.SHIFT: explain_shift,
    RemedyKind.NEW_PLATE: explain_new_plate,
    RemedyKind.REAM: explain_ream,
    RemedyKind.SLOT: explain_slot,
    RemedyKind.RE_ANCHOR: explain_re_anchor,
    RemedyKind.REFER: explain_re_anchor,
    RemedyKind.EXTEND_ROD: _explain_projection,
    RemedyKind.SQUARE_UP: _explain_square_up,
    RemedyKind.PLUMB_UP: _explain_plumb_up,
    RemedyKind.WAIT_FOR_STRENGTH: _explain_strength,
}
