"""A remedy's arithmetic laid open: each step in words with its figures, and limits.

Nothing is computed here that the evaluation has not: the steps put its figures, the
plan's and the limits in the order in which they lead to the result.
"""

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from checks.engine.conformity import SLACK_MM
from checks.engine.levelling.shim_choice import find_stacks_around
from checks.queries.remedy_values import LabelledValue, list_values
from core.formatting import (
    MINUS,
    TIMES,
    format_direction,
    format_force,
    format_percent,
    format_rotation,
    format_strength,
)
from jobs.anchor_plan.values import Detail, Plan

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class StepPart:
    """Part of a sentence: a length in mm, or text."""

    text: str = ""
    mm: float | None = None


Step = tuple[StepPart, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RemedyContext:
    """What a finding's remedies were computed from.

    Attributes
    ----------
    mark : of the position or pad, empty where the finding has none.
    plan : the plan they were computed for.
    result : the result document they stand in.
    """

    mark: str
    plan: Plan
    result: Row

    def limit(self, key: str) -> float:
        """Give a limit in mm, or a plain ratio; NaN where the basis has none."""
        rule = self.result["tolerances"].get(key)
        return math.nan if rule is None else float(rule["value"])

    @property
    def detail(self) -> Detail | None:
        """The detail at the mark, None where there is none."""
        for position in self.plan.positions:
            if position.mark == self.mark:
                return self.plan.details[position.detail]
        return None


def explain_remedy(remedy: Row, context: RemedyContext) -> tuple[Step, ...]:
    """Say step by step how a remedy's figures came about; nothing where none did."""
    explain = EXPLAINERS.get(remedy["remedy"])
    return () if explain is None else tuple(explain(remedy, context))


def summarise_remedy(remedy: Row) -> list[LabelledValue]:
    """Give the figures to read first; of a replaced rod, how its screen came out.

    What of a slot or a washer is left out here stands in the steps.
    """
    if remedy["remedy"] != "re_anchor":
        short = dict(remedy)
        for name, kept in SUMMARY_MEMBERS.items():
            found = short.get(name)
            if isinstance(found, list):
                short[name] = [{key: row[key] for key in kept} for row in found]
            elif found:
                short[name] = {key: found[key] for key in kept}
        return list_values(short)
    return [
        figure
        for rod in remedy.get("rods") or []
        for figure in (
            LabelledValue(f"rod {rod['rod']}, from the plan", mm=rod["miss"]),
            LabelledValue(
                f"rod {rod['rod']}, screen of the replacement",
                text=SCREEN_OUTCOMES.get(rod["outcome"], rod["outcome"]),
            ),
        )
    ]


SUMMARY_MEMBERS = {"slots": ("rod", "length"), "washer": ("size", "thickness")}
SCREEN_OUTCOMES = {"pass": "passes", "fail": "fails", "unknown": "not all known"}


def _step(*parts: str | float) -> Step:
    return tuple(
        StepPart(text=part) if isinstance(part, str) else StepPart(mm=float(part))
        for part in parts
    )


def _explain_shim(remedy: Row, context: RemedyContext) -> Iterator[Step]:
    """Shim up to the highest pad; once shimmed, this pad may be the highest itself."""
    shim, left_over = remedy["shim"], remedy["residual"]
    shortfall = shim - left_over
    highest = context.result["levels"].get("highest")
    named = f"{highest}, " if highest and highest != context.mark else ""
    yield _step(f"Below {named}the highest pad: ", shortfall, ".")
    yield _step(
        "Allowed unshimmed: ",
        context.limit("pad_level"),
        ". Shimmed up to: ",
        context.limit("shim_up_to"),
        ".",
    )
    below, above = find_stacks_around(shortfall, _list_thicknesses(context.plan))
    near = [stack for stack in (below, above) if not math.isnan(stack)]
    if abs(shim - shortfall) <= SLACK_MM:
        yield _step("The plates on hand add up to exactly that.")
    else:
        yield from _explain_nearest_stacks(near, shortfall)
    tie = len(near) > 1 and abs(below + above - 2 * shortfall) <= 2 * SLACK_MM
    why = "equally near, so the thinner" if tie else "the nearest"
    plates = " + ".join(remedy["stack"])
    yield _step(f"Chosen, {why}: ", shim, f" = {plates}, in the fewest plates.")
    yield _step(
        "Left over: ",
        shim,
        f" {MINUS} ",
        shortfall,
        " = ",
        left_over,
        ", within ",
        context.limit("pad_level"),
        ".",
    )
    if remedy.get("thread_left") is not None:
        yield _step(
            f"Thread left above the nut: projection {MINUS} shim {MINUS} plate"
            f" {MINUS} washer {MINUS} nut at its thickest = ",
            remedy["thread_left"],
            ".",
        )


def _explain_nearest_stacks(near: list[float], shortfall: float) -> Iterator[Step]:
    for stack in near:
        side = "thinner" if stack <= shortfall else "thicker"
        yield _step(
            f"Next {side} stack of the plates on hand: ",
            stack,
            ", off by ",
            abs(stack - shortfall),
            ".",
        )


def _list_thicknesses(plan: Plan) -> Iterator[float]:
    return (float(shim.mm) for shim in plan.shim_thicknesses)


def _explain_lower_pad(remedy: Row, context: RemedyContext) -> Iterator[Step]:
    yield _step(
        f"From pad {remedy['mark']} down to the next highest: ",
        remedy["lower_by"],
        ".",
    )
    yield _step(
        f"Lowered by that, {remedy['shims_saved']} fewer pads are more than ",
        context.limit("pad_level"),
        " below the highest.",
    )


def _explain_placement(remedy: Row, context: RemedyContext) -> Iterator[Step]:
    """Where the plate is held, within the line tolerance."""
    yield _step(
        "Plate moved by at most ",
        context.limit("line"),
        " along and in, the line tolerance: ",
        remedy["shift_along"],
        " along, ",
        remedy["shift_in"],
        f" in, turned {_describe_rotation(remedy)}.",
    )


def _describe_rotation(remedy: Row) -> str:
    return f"{format_rotation(remedy['turn'])} counter-clockwise"


def _explain_clearance(context: RemedyContext) -> Iterator[Step]:
    detail = context.detail
    if detail is None or detail.plate is None:
        return
    hole = detail.plate.hole_diameter
    for diameter in sorted({rod.diameter for rod in detail.rods}):
        yield _step(
            "Clearance round a rod as punched: (hole ",
            hole,
            f" {MINUS} rod ",
            diameter,
            ") ÷ 2 = ",
            (hole - diameter) / 2,
            ".",
        )


def _explain_shift(remedy: Row, context: RemedyContext) -> Iterator[Step]:
    if "scope" in remedy:
        yield _step(
            "The steel moved as one: ",
            remedy["shift_x"],
            " right, ",
            remedy["shift_y"],
            f" up, turned {_describe_rotation(remedy)}.",
        )
        return
    yield from _explain_clearance(context)
    yield from _explain_placement(remedy, context)
    yield _step("There no rod centre is further from its hole's than the clearance.")


def _explain_ream(remedy: Row, context: RemedyContext) -> Iterator[Step]:
    yield from _explain_clearance(context)
    yield from _explain_placement(remedy, context)
    detail = context.detail
    if detail is None or detail.plate is None:
        return
    hole, needed = detail.plate.hole_diameter, remedy["hole_diameter"]
    over = (needed - hole) / 2
    yield _step("There the worst rod overruns its clearance by ", over, ".")
    yield _step(
        "Hole needed, all alike: ", hole, f" + 2 {TIMES} ", over, " = ", needed, "."
    )
    edge = detail.plate.edge_distance
    if edge is not None and remedy["edge_left"] is not None:
        yield _step(
            "Edge left: ",
            edge,
            f" {MINUS} (",
            needed,
            f" {MINUS} ",
            hole,
            ") ÷ 2 = ",
            remedy["edge_left"],
            ".",
        )
    yield from _explain_edge(remedy)


def _explain_slot(remedy: Row, context: RemedyContext) -> Iterator[Step]:
    yield from _explain_clearance(context)
    yield from _explain_placement(remedy, context)
    for slot in remedy["slots"]:
        yield _step(
            f"Hole {slot['rod']}: ",
            slot["width"],
            " as punched + ",
            slot["extension"],
            " = a slot ",
            slot["length"],
            f" long, towards {format_direction(slot['direction'])} from along,"
            " counter-clockwise.",
        )
    yield from _explain_edge(remedy)


def _explain_edge(remedy: Row) -> Iterator[Step]:
    left, needed = remedy.get("edge_left"), remedy.get("edge_needed")
    if left is not None and needed is not None:
        word = "at least" if left >= needed - SLACK_MM else "less than"
        yield _step(
            "Edge left where it is tightest: ",
            left,
            f", {word} the ",
            needed,
            " of AISC 360 Table J3.4 (secondary source).",
        )
    washer = remedy.get("washer")
    if washer:
        yield _step(
            "Plate washer that covers it: ",
            washer["size"],
            " square, ",
            washer["thickness"],
            f" thick ({washer['source']}).",
        )


def _explain_re_anchor(remedy: Row, context: RemedyContext) -> Iterator[Step]:
    if remedy.get("heading"):
        yield _step(remedy["heading"])
    for rod in remedy.get("rods") or []:
        yield _step(
            f"Rod {rod['rod']} is ",
            rod["miss"],
            " from the plan; the replacement, ",
            rod["diameter"],
            ", embedded ",
            rod["embedment"],
            ".",
        )
        strengths = rod.get("strengths") or {}
        for name, words in SCREEN_STRENGTHS.items():
            if strengths.get(name) is not None:
                yield _step(
                    f"Rod {rod['rod']}, {words}: {format_force(strengths[name])}."
                )
    for text in remedy.get("assumptions") or []:
        yield _step(f"Assumed: {text.rstrip('.')}.")


SCREEN_STRENGTHS = {
    "breakout_n": "basic breakout, ACI 318-19 17.6.2",
    "breakout_at_edge_n": "basic breakout at its edge distance",
    "bond_n": "basic bond, ACI 318-19 17.6.5, the table's default stresses",
    "steel_n": "steel of the rod",
}


def _explain_projection(remedy: Row, context: RemedyContext) -> Iterator[Step]:
    if remedy.get("deviation") is None or remedy.get("thread_left") is None:
        return
    yield _step(
        f"Rod {', '.join(str(rod) for rod in remedy['rods'])}, projection off by ",
        remedy["deviation"],
        "; allowed either way: ",
        context.limit("projection"),
        ".",
    )
    yield _step(
        f"Thread left above the nut: projection as built {MINUS} plate {MINUS}"
        f" washer {MINUS} nut at its thickest = ",
        remedy["thread_left"],
        f"; {format_percent(remedy['engaged'])} of the nut is engaged.",
    )


def _explain_square_up(remedy: Row, context: RemedyContext) -> Iterator[Step]:
    yield _step("From the figure adjusted to all walls and diagonals:")
    for move in remedy.get("moves") or []:
        yield _step(
            f"Corner {move['corner']} along {move['wall']} by ",
            move["move"],
            ": ",
            move["dx"],
            " right, ",
            move["dy"],
            " up.",
        )


def _explain_plumb_up(remedy: Row, context: RemedyContext) -> Iterator[Step]:
    height, ratio = remedy["height"], context.limit("plumb")
    yield _step("Allowed: ", height, f" {TIMES} {ratio:g} = ", height * ratio, ".")
    yield _step(
        "Lean over that height: ",
        -remedy["move"],
        f" {remedy.get('axis') or ''}; the top moves by as much the other way.",
    )


def _explain_strength(remedy: Row, context: RemedyContext) -> Iterator[Step]:
    specified = context.plan.concrete.specified_strength
    lowest = remedy["strength"]
    if specified is not None and remedy.get("ratio") is not None:
        yield _step(
            f"Lowest of the latest samples: {format_strength(lowest)} ÷"
            f" {format_strength(specified)} specified = {format_percent(remedy['ratio'], 1)}."
        )
    yield _step(
        "Needed by the easier of the two legal routes:"
        f" {format_strength(remedy['required_strength'])}; missing"
        f" {format_strength(remedy['required_strength'] - lowest)}."
    )


EXPLAINERS: dict[str, Callable[[Row, RemedyContext], Iterator[Step]]] = {
    "shim": _explain_shim,
    "lower_pad": _explain_lower_pad,
    "shift": _explain_shift,
    "ream": _explain_ream,
    "slot": _explain_slot,
    "re_anchor": _explain_re_anchor,
    "extend_rod": _explain_projection,
    "square_up": _explain_square_up,
    "plumb_up": _explain_plumb_up,
    "wait_for_strength": _explain_strength,
}
