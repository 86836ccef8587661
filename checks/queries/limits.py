"""The limits a finding was judged by, with their source, and a screen's conditions."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from checks.queries.arithmetic import Piece, Step
from jobs.plan.sheet import Kind

Row = Mapping[str, Any]
WORDS = {
    "diagonals": "Difference of the diagonals",
    "wall": "Length of a wall",
    "line": "Reference line, also how far a plate may be moved",
    "rod_location": "Setback, offset and gage",
    "re_anchor_beyond": "Re-anchored beyond",
    "projection": "Projection",
    "pad_level": "Pad below the highest",
    "shim_up_to": "Shimmed up to",
    "level_misclosure": "Misclosure of the set-ups",
    "strength_ratio": "Of the specified strength",
    "plumb": "Lean over height",
    "notch": "Notch, either way",
}
BY_TOPIC = {
    "squareness": ("diagonals",),
    "wall": ("wall",),
    "position": ("line", "rod_location", "re_anchor_beyond"),
    "projection": ("projection",),
    "level": ("pad_level", "shim_up_to"),
    "levels": ("level_misclosure",),
    "strength": ("strength_ratio",),
    "plumb": ("plumb",),
    "notch_width": ("notch",),
    "notch_depth": ("notch",),
}
BY_KIND: dict[Kind, tuple[str, ...]] = {
    Kind.DIAGONAL: ("diagonals",),
    Kind.WALL: ("wall",),
    Kind.LINE: ("line",),
    Kind.SETBACK: ("rod_location",),
    Kind.OFFSET: ("rod_location",),
    Kind.GAGE: ("rod_location",),
    Kind.PROJECTION: ("projection",),
    Kind.LEVEL: ("pad_level",),
    Kind.BENCHMARK: ("level_misclosure",),
    Kind.STRENGTH: ("strength_ratio",),
    Kind.NOTCH_WIDTH: ("notch",),
    Kind.NOTCH_DEPTH: ("notch",),
    Kind.PLUMB: ("plumb",),
}
RATIOS = frozenset({"strength_ratio", "plumb"})


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitShown:
    """One limit: what it limits, how much, from where, and how sure that source is."""

    words: str
    amount: Step
    source: str
    mark: str


def limits_of(topic: str, tolerances: Row) -> list[LimitShown]:
    """Give the limits that a finding of this topic was judged and remedied by."""
    word = topic.partition(":")[0]
    return list(_shown(BY_TOPIC.get(word, (word,)), tolerances))


def limits_of_kind(kind: Kind, tolerances: Row) -> list[LimitShown]:
    """Give the limit that checks of a kind are judged by."""
    return list(_shown(BY_KIND.get(kind, ()), tolerances))


def _shown(keys: Iterable[str], tolerances: Row) -> Iterator[LimitShown]:
    return (
        LimitShown(
            words=WORDS.get(key, key.replace("_", " ").capitalize()),
            amount=tuple(_amount(key, tolerances[key])),
            source=tolerances[key]["source"],
            mark=tolerances[key].get("mark", ""),
        )
        for key in keys
        if key in tolerances
    )


def _amount(key: str, rule: Row) -> Iterator[Piece]:
    if key in RATIOS:
        value = rule["value"]
        yield Piece(text=f"1/{1 / value:.0f}" if value < 0.1 else f"{value:.0%}")
    elif "by_diameter" in rule:
        for each in rule["by_diameter"]:
            yield from (
                Piece(mm=each["limit"]),
                Piece(text=" from a rod of "),
                Piece(mm=each["from"]),
                Piece(text="; "),
            )
        yield from (Piece(text="otherwise "), Piece(mm=rule["otherwise"]))
    elif "lower" in rule:
        yield from (
            Piece(text="from "),
            Piece(mm=rule["lower"]),
            Piece(text=" to "),
            Piece(mm=rule["upper"]),
        )
    else:
        yield Piece(mm=rule["value"])
        yield from _rate(rule)


def _rate(rule: Row) -> Iterator[Piece]:
    for name, words in (
        ("per", " per "),
        ("floor", ", at least "),
        ("cap", ", up to "),
    ):
        if rule.get(name):
            yield from (Piece(text=words), Piece(mm=rule[name]))


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionShown:
    """One condition of the screen of a replacement rod."""

    words: str
    value: str
    needed: str
    outcome: str
    source: str


def conditions_of(remedy: Row) -> list[ConditionShown]:
    """Give the conditions a replacement rod was screened by, rod after rod."""
    return [
        ConditionShown(
            words=f"Rod {rod['rod']}, {condition['name']}",
            value=_number(condition.get("value"), condition["unit"]),
            needed=_range(condition),
            outcome=OUTCOMES.get(condition["outcome"], condition["outcome"]),
            source=condition["source"],
        )
        for rod in remedy.get("rods") or []
        if isinstance(rod, Mapping)
        for condition in rod.get("conditions") or []
    ]


OUTCOMES = {"pass": "passes", "fail": "fails", "unknown": "not known"}


def _range(condition: Row) -> str:
    least, most, unit = (condition.get(name) for name in ("least", "most", "unit"))
    if least is not None and most is not None:
        return f"{least:g} to {_number(most, unit)}"
    if least is not None:
        return f"at least {_number(least, unit)}"
    return f"at most {_number(most, unit)}" if most is not None else ""


def _number(value: float | None, unit: Any) -> str:
    return "not known" if value is None else f"{value:.3g} {unit}".strip()
