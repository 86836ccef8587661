"""A remedy's arithmetic laid open: each step in words with its figures, and limits.

Nothing is computed here that the evaluation has not: the steps put its figures, the
plan's and the limits in the order in which they lead to the result.
"""

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from checks.engine.acceptance import SLACK_MM
from checks.engine.shim_choice import stacks_around
from checks.wording import Figure, figures_of, strength_words
from jobs.plan.model import Detail, Plan

MINUS = "\N{MINUS SIGN}"
TIMES = "\N{MULTIPLICATION SIGN}"
Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Piece:
    """Part of a sentence: a length in mm, or text."""

    text: str = ""
    mm: float | None = None


Step = tuple[Piece, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
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


def steps_of(remedy: Row, case: Case) -> tuple[Step, ...]:
    """Say step by step how a remedy's figures came about; nothing where none did."""
    explain = EXPLAINED.get(remedy["remedy"])
    return () if explain is None else tuple(explain(remedy, case))


def headline_of(remedy: Row) -> list[Figure]:
    """Give the figures to read first; of a replaced rod, how its screen came out.

    What of a slot or a washer is left out here stands in the steps.
    """
    if remedy["remedy"] != "re_anchor":
        short = dict(remedy)
        for name, kept in SHORT.items():
            found = short.get(name)
            if isinstance(found, list):
                short[name] = [{key: row[key] for key in kept} for row in found]
            elif found:
                short[name] = {key: found[key] for key in kept}
        return figures_of(short)
    return [
        figure
        for rod in remedy.get("rods") or []
        for figure in (
            Figure(f"rod {rod['rod']}, from the plan", mm=rod["miss"]),
            Figure(
                f"rod {rod['rod']}, screen of the replacement",
                text=OUTCOMES.get(rod["outcome"], rod["outcome"]),
            ),
        )
    ]


SHORT = {"slots": ("rod", "length"), "washer": ("size", "thickness")}
OUTCOMES = {"pass": "passes", "fail": "fails", "unknown": "not all known"}


def _said(*parts: str | float) -> Step:
    return tuple(
        Piece(text=part) if isinstance(part, str) else Piece(mm=float(part))
        for part in parts
    )


def _shim(remedy: Row, case: Case) -> Iterator[Step]:
    """Shim up to the highest pad; once shimmed, this pad may be the highest itself."""
    shim, left_over = remedy["shim"], remedy["residual"]
    shortfall = shim - left_over
    highest = case.result["levels"].get("highest")
    named = f"{highest}, " if highest and highest != case.mark else ""
    yield _said(f"Below {named}the highest pad: ", shortfall, ".")
    yield _said(
        "Allowed unshimmed: ",
        case.limit("pad_level"),
        ". Shimmed up to: ",
        case.limit("shim_up_to"),
        ".",
    )
    below, above = stacks_around(shortfall, _thicknesses(case.plan))
    near = [stack for stack in (below, above) if not math.isnan(stack)]
    if abs(shim - shortfall) <= SLACK_MM:
        yield _said("The plates on hand add up to exactly that.")
    else:
        yield from _nearest(near, shortfall)
    tie = len(near) > 1 and abs(below + above - 2 * shortfall) <= 2 * SLACK_MM
    why = "equally near, so the thinner" if tie else "the nearest"
    plates = " + ".join(remedy["stack"])
    yield _said(f"Chosen, {why}: ", shim, f" = {plates}, in the fewest plates.")
    yield _said(
        "Left over: ",
        shim,
        f" {MINUS} ",
        shortfall,
        " = ",
        left_over,
        ", within ",
        case.limit("pad_level"),
        ".",
    )
    if remedy.get("thread_left") is not None:
        yield _said(
            f"Thread left above the nut: projection {MINUS} shim {MINUS} plate"
            f" {MINUS} washer {MINUS} nut at its thickest = ",
            remedy["thread_left"],
            ".",
        )


def _nearest(near: list[float], shortfall: float) -> Iterator[Step]:
    for stack in near:
        side = "thinner" if stack <= shortfall else "thicker"
        yield _said(
            f"Next {side} stack of the plates on hand: ",
            stack,
            ", off by ",
            abs(stack - shortfall),
            ".",
        )


def _thicknesses(plan: Plan) -> Iterator[float]:
    return (float(shim.mm) for shim in plan.shim_thicknesses)


def _lower_pad(remedy: Row, case: Case) -> Iterator[Step]:
    yield _said(
        f"From pad {remedy['mark']} down to the next highest: ",
        remedy["lower_by"],
        ".",
    )
    yield _said(
        f"Lowered by that, {remedy['shims_saved']} fewer pads are more than ",
        case.limit("pad_level"),
        " below the highest.",
    )


def _held(remedy: Row, case: Case) -> Iterator[Step]:
    """Where the plate is held, within the line tolerance."""
    yield _said(
        "Plate moved by at most ",
        case.limit("line"),
        " along and in, the line tolerance: ",
        remedy["shift_along"],
        " along, ",
        remedy["shift_in"],
        f" in, turned {_turn(remedy)}.",
    )


def _turn(remedy: Row) -> str:
    turned = f"{remedy['turn'] * 1000:z.2f}".replace("-", MINUS)
    return f"{turned} mrad counter-clockwise"


def _clearance(case: Case) -> Iterator[Step]:
    detail = case.detail
    if detail is None or detail.plate is None:
        return
    hole = detail.plate.hole_diameter
    for diameter in sorted({rod.diameter for rod in detail.rods}):
        yield _said(
            "Clearance round a rod as punched: (hole ",
            hole,
            f" {MINUS} rod ",
            diameter,
            ") ÷ 2 = ",
            (hole - diameter) / 2,
            ".",
        )


def _shift(remedy: Row, case: Case) -> Iterator[Step]:
    if "scope" in remedy:
        yield _said(
            "The steel moved as one: ",
            remedy["shift_x"],
            " right, ",
            remedy["shift_y"],
            f" up, turned {_turn(remedy)}.",
        )
        return
    yield from _clearance(case)
    yield from _held(remedy, case)
    yield _said("There no rod centre is further from its hole's than the clearance.")


def _ream(remedy: Row, case: Case) -> Iterator[Step]:
    yield from _clearance(case)
    yield from _held(remedy, case)
    detail = case.detail
    if detail is None or detail.plate is None:
        return
    hole, needed = detail.plate.hole_diameter, remedy["hole_diameter"]
    over = (needed - hole) / 2
    yield _said("There the worst rod overruns its clearance by ", over, ".")
    yield _said(
        "Hole needed, all alike: ", hole, f" + 2 {TIMES} ", over, " = ", needed, "."
    )
    edge = detail.plate.edge_distance
    if edge is not None and remedy["edge_left"] is not None:
        yield _said(
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
    yield from _edge(remedy)


def _slot(remedy: Row, case: Case) -> Iterator[Step]:
    yield from _clearance(case)
    yield from _held(remedy, case)
    for slot in remedy["slots"]:
        yield _said(
            f"Hole {slot['rod']}: ",
            slot["width"],
            " as punched + ",
            slot["extension"],
            " = a slot ",
            slot["length"],
            f" long, towards {math.degrees(slot['direction']):.0f}° from along,"
            " counter-clockwise.",
        )
    yield from _edge(remedy)


def _edge(remedy: Row) -> Iterator[Step]:
    left, needed = remedy.get("edge_left"), remedy.get("edge_needed")
    if left is not None and needed is not None:
        word = "at least" if left >= needed - SLACK_MM else "less than"
        yield _said(
            "Edge left where it is tightest: ",
            left,
            f", {word} the ",
            needed,
            " of AISC 360 Table J3.4 (secondary source).",
        )
    washer = remedy.get("washer")
    if washer:
        yield _said(
            "Plate washer that covers it: ",
            washer["size"],
            " square, ",
            washer["thickness"],
            f" thick ({washer['source']}).",
        )


def _re_anchor(remedy: Row, case: Case) -> Iterator[Step]:
    if remedy.get("heading"):
        yield _said(remedy["heading"])
    for rod in remedy.get("rods") or []:
        yield _said(
            f"Rod {rod['rod']} is ",
            rod["miss"],
            " from the plan; the replacement, ",
            rod["diameter"],
            ", embedded ",
            rod["embedment"],
            ".",
        )
        strengths = rod.get("strengths") or {}
        for name, words in STRENGTHS.items():
            if strengths.get(name) is not None:
                yield _said(
                    f"Rod {rod['rod']}, {words}: {_kilonewtons(strengths[name])}."
                )
    for text in remedy.get("assumptions") or []:
        yield _said(f"Assumed: {text.rstrip('.')}.")


STRENGTHS = {
    "breakout_n": "basic breakout, ACI 318-19 17.6.2",
    "breakout_at_edge_n": "basic breakout at its edge distance",
    "bond_n": "basic bond, ACI 318-19 17.6.5, the table's default stresses",
    "steel_n": "steel of the rod",
}


def _kilonewtons(newtons: float) -> str:
    return f"{newtons / 1000:.1f} kN"


def _projection(remedy: Row, case: Case) -> Iterator[Step]:
    if remedy.get("deviation") is None or remedy.get("thread_left") is None:
        return
    yield _said(
        f"Rod {', '.join(str(rod) for rod in remedy['rods'])}, projection off by ",
        remedy["deviation"],
        "; allowed either way: ",
        case.limit("projection"),
        ".",
    )
    yield _said(
        f"Thread left above the nut: projection as built {MINUS} plate {MINUS}"
        f" washer {MINUS} nut at its thickest = ",
        remedy["thread_left"],
        f"; {remedy['engaged']:.0%} of the nut is engaged.",
    )


def _square_up(remedy: Row, case: Case) -> Iterator[Step]:
    yield _said("From the figure adjusted to all walls and diagonals:")
    for move in remedy.get("moves") or []:
        yield _said(
            f"Corner {move['corner']} along {move['wall']} by ",
            move["move"],
            ": ",
            move["dx"],
            " right, ",
            move["dy"],
            " up.",
        )


def _plumb_up(remedy: Row, case: Case) -> Iterator[Step]:
    height, ratio = remedy["height"], case.limit("plumb")
    yield _said("Allowed: ", height, f" {TIMES} {ratio:g} = ", height * ratio, ".")
    yield _said(
        "Lean over that height: ",
        -remedy["move"],
        f" {remedy.get('axis') or ''}; the top moves by as much the other way.",
    )


def _strength(remedy: Row, case: Case) -> Iterator[Step]:
    specified = case.plan.concrete.specified_strength
    lowest = remedy["strength"]
    if specified is not None and remedy.get("ratio") is not None:
        yield _said(
            f"Lowest of the latest samples: {strength_words(lowest)} ÷"
            f" {strength_words(specified)} specified = {remedy['ratio']:.1%}."
        )
    yield _said(
        "Needed by the easier of the two legal routes:"
        f" {strength_words(remedy['required_strength'])}; missing"
        f" {strength_words(remedy['required_strength'] - lowest)}."
    )


EXPLAINED: dict[str, Callable[[Row, Case], Iterator[Step]]] = {
    "shim": _shim,
    "lower_pad": _lower_pad,
    "shift": _shift,
    "ream": _ream,
    "slot": _slot,
    "re_anchor": _re_anchor,
    "extend_rod": _projection,
    "square_up": _square_up,
    "plumb_up": _plumb_up,
    "wait_for_strength": _strength,
}
