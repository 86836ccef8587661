"""Limits that findings and checks were judged by, and conditions of a screen."""

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal, cast

from checks.drawings.result_view import find_limit
from checks.evaluation.finding_topics import FindingTopic, TopicKind
from checks.queries.remedy_steps import Step, StepPart
from core.formatting import QuantityUnit, format_percent
from jobs.anchor_plan.check_keys import CheckKind
from jobs.exchange.result.document import LimitResult, TolerancesResult
from jobs.exchange.result.findings import RemedyResult, ScreeningConditionResult

LIMIT_LABELS = {
    "diagonals": "Difference of the diagonals",
    "wall": "Length of a wall",
    "line": "Reference line, also how far a plate may be moved",
    "bay": "Length of a bay",
    "span": "Length across a frame",
    "rod_location": "Setback, offset and gage",
    "column_turn": "Turn of a plate, either way",
    "re_anchor_beyond": "Re-anchor beyond",
    "projection": "Projection",
    "pad_level": "Pad below the highest",
    "shim_up_to": "Shim up to",
    "level_misclosure": "Misclosure of the levels",
    "strength_ratio": "Share of the specified strength",
    "plumb": "Lean over height",
    "notch": "Notch, either way",
}
LIMITS_BY_TOPIC: dict[TopicKind, tuple[str, ...]] = {
    TopicKind.SQUARENESS: ("diagonals",),
    TopicKind.WALL: ("wall",),
    TopicKind.POSITION: (
        "line",
        "rod_location",
        "column_turn",
        "re_anchor_beyond",
    ),
    TopicKind.BAY: ("bay", "line"),
    TopicKind.SPAN: ("span", "line"),
    TopicKind.PROJECTION: ("projection",),
    TopicKind.LEVEL: ("pad_level", "shim_up_to"),
    TopicKind.LEVELS: ("level_misclosure",),
    TopicKind.STRENGTH: ("strength_ratio",),
    TopicKind.FIT_UP: ("line", "column_turn", "bay", "span", "notch"),
    TopicKind.PLUMB: ("plumb",),
    TopicKind.NOTCH_WIDTH: ("notch",),
    TopicKind.NOTCH_DEPTH: ("notch",),
}
LIMITS_BY_KIND: dict[CheckKind, tuple[str, ...]] = {
    CheckKind.DIAGONAL: ("diagonals",),
    CheckKind.WALL: ("wall",),
    CheckKind.LINE: ("line",),
    CheckKind.BAY: ("bay",),
    CheckKind.SPAN: ("span",),
    CheckKind.SETBACK: ("rod_location",),
    CheckKind.OFFSET: ("rod_location",),
    CheckKind.GAGE: ("rod_location",),
    CheckKind.PROJECTION: ("projection",),
    CheckKind.LEVEL: ("pad_level",),
    CheckKind.BENCHMARK: ("level_misclosure",),
    CheckKind.STRENGTH: ("strength_ratio",),
    CheckKind.NOTCH_WIDTH: ("notch",),
    CheckKind.NOTCH_DEPTH: ("notch",),
    CheckKind.PLUMB: ("plumb",),
}
RATIO_LIMITS = frozenset({"strength_ratio", "plumb"})
ANGLE_LIMITS = frozenset({"column_turn"})
SLOPE_BELOW = 0.1  # a smaller ratio is written as a slope, 1/500
CONDITION_OUTCOMES = {"pass": "passes", "fail": "fails", "unknown": "not known"}


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitRow:
    """One limit: its label, its amount, its source, and how the source was seen."""

    label: str
    amount: Step
    source: str
    provenance: str


def list_topic_limits(topic: str, tolerances: TolerancesResult) -> list[LimitRow]:
    """List the limits that a finding of this topic was judged and remedied by."""
    kind = FindingTopic(topic).kind
    # A rule on groups of rods is a topic and a limit of the same name.
    return list(_iter_limits(LIMITS_BY_TOPIC.get(kind, (kind.value,)), tolerances))


def list_kind_limits(kind: CheckKind, tolerances: TolerancesResult) -> list[LimitRow]:
    """List the limits that checks of a kind are judged by."""
    return list(_iter_limits(LIMITS_BY_KIND.get(kind, ()), tolerances))


def _iter_limits(
    keys: Iterable[str], tolerances: TolerancesResult
) -> Iterator[LimitRow]:
    for key in keys:
        rule = find_limit(tolerances, key)
        if rule is not None:
            yield LimitRow(
                label=LIMIT_LABELS.get(key, key.replace("_", " ").capitalize()),
                amount=tuple(_iter_amount(key, rule)),
                source=rule["source"],
                provenance=rule.get("mark", ""),
            )


def _iter_amount(key: str, rule: LimitResult) -> Iterator[StepPart]:
    if key in RATIO_LIMITS:
        value = rule["value"]
        slope = value < SLOPE_BELOW
        yield StepPart(text=f"1/{1 / value:.0f}" if slope else format_percent(value))
    elif key in ANGLE_LIMITS:
        yield StepPart(text=f"{math.degrees(rule['value']):.3g}°")
    elif "by_diameter" in rule:
        for each in rule["by_diameter"]:
            yield from (
                StepPart(mm=each["limit"]),
                StepPart(text=" from a rod of "),
                StepPart(mm=each["from"]),
                StepPart(text="; "),
            )
        yield from (StepPart(text="otherwise "), StepPart(mm=rule["otherwise"]))
    elif "lower" in rule:
        yield from (
            StepPart(text="from "),
            StepPart(mm=rule["lower"]),
            StepPart(text=" to "),
            StepPart(mm=rule["upper"]),
        )
    else:
        yield StepPart(mm=rule["value"])
        yield from _iter_rate(rule)


def _iter_rate(rule: LimitResult) -> Iterator[StepPart]:
    for mm, text in (
        (rule.get("per"), " per "),
        (rule.get("floor"), ", at least "),
        (rule.get("cap"), ", up to "),
    ):
        if mm:
            yield from (StepPart(text=text), StepPart(mm=mm))


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenConditionRow:
    """One condition of the screen of a replacement rod."""

    label: str
    value: Step
    required: Step
    outcome: str
    source: str


def list_screen_conditions(remedy: RemedyResult) -> list[ScreenConditionRow]:
    """List the conditions that replacement rods were screened by, rod after rod."""
    return [
        ScreenConditionRow(
            label=f"Rod {rod['rod']}, {condition['name']}",
            value=(_condition_part(condition, "value"),),
            required=tuple(_iter_range(condition)),
            outcome=CONDITION_OUTCOMES.get(condition["outcome"], condition["outcome"]),
            source=condition["source"],
        )
        for rod in remedy.get("rods") or []
        if isinstance(rod, Mapping)
        for condition in rod.get("conditions") or []
    ]


def _iter_range(condition: ScreeningConditionResult) -> Iterator[StepPart]:
    least, most = condition.get("least"), condition.get("most")
    if least is not None and most is not None:
        yield from (StepPart(text=f"{least:g} to "), _condition_part(condition, "most"))
    elif least is not None:
        yield from (StepPart(text="at least "), _condition_part(condition, "least"))
    elif most is not None:
        yield from (StepPart(text="at most "), _condition_part(condition, "most"))


def _condition_part(
    condition: ScreeningConditionResult, name: Literal["value", "least", "most"]
) -> StepPart:
    value = condition.get(name)
    if value is None:
        return StepPart(text="not known")
    return StepPart(value=value, unit=cast(QuantityUnit, condition["unit"]))
