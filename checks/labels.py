"""Checks, findings and figures in the words a crew and an engineer use."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from core.formatting import (
    format_direction,
    format_force,
    format_percent,
    format_rotation,
    format_strength,
)
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.planned_checks import Check

REMEDY_LABELS = {
    "remeasure": "Measure again",
    "shift": "Set the plate where it fits",
    "shim": "Shim",
    "ream": "Ream the holes",
    "slot": "Slot the holes",
    "re_anchor": "Cut off and re-anchor",
    "extend_rod": "Extend the rod",
    "lower_pad": "Lower the high pad",
    "square_up": "Square up",
    "wait_for_strength": "Wait for strength",
    "plumb_up": "Plumb up",
    "refer": "As the engineer orders",
    "accept": "Accept as it is",
}
TOPIC_LABELS = {
    "squareness": "Outline out of square",
    "wall": "Wall {}",
    "position": "Rods at {}",
    "projection": "Projection at {}",
    "level": "Pad {}",
    "levels": "Set-ups that do not close",
    "strength": "Concrete strength",
    "notch_width": "Notch width on {}",
    "notch_depth": "Notch depth on {}",
    "plumb": "Plumb of {}",
    # Rules of a tolerance basis on groups of rods and on column lines.
    "within_group": "Rods at {} against each other",
    "rod_from_group_centre": "Rods at {} about their own centre",
    "group_centre": "Centre of the rods at {}",
    "adjacent_groups": "Neighbouring groups along {}",
    "accumulated": "Groups adding up along {}",
    "group_to_line": "Groups off the column line along {}",
}
CHECK_KEY_LABELS = {
    "diagonal": "Diagonal {}",
    "wall": "Wall {}, whole length",
    "line": "{}, reference line",
    "setback": "{}, rod {}, setback",
    "offset": "{}, rod {}, offset",
    "gage": "{}, rods {}, centre to centre",
    "projection": "{}, rod {}, projection",
    "level": "Pad {}",
    "benchmark": "Benchmark {}",
    "strength": "Sample {}",
    "notch_width": "Wall {}, notch width",
    "notch_depth": "Wall {}, notch depth",
    "plumb": "{}, lean {}",
}
PLURAL_TOPIC_LABELS = {"wall": "Walls {}", "level": "Pads {}"}  # of the topics above
MAX_LISTED_PLACES = 3  # of several; the rest is counted
HIDDEN_MEMBERS = frozenset(
    {"remedy", "approval", "reason", "cautions", "why_second", "rods", "checks"}
)
RATIO_MEMBERS = frozenset({"ratio", "required", "engaged"})
ANGLE_MEMBERS = frozenset({"turn", "lean"})
DIRECTION_MEMBERS = frozenset({"direction"})
DEGREE_UNIT = re.compile(r"(\d ?)deg([CF])\b")
COUNT_MEMBERS = frozenset({"shims_saved", "rod", "count"})
STRESS_WORDS = ("strength", "stress")
VALUE_LABELS = {
    "hole_diameter": "hole diameter",
    "shim": "shim",
    "stack": "plates",
    "residual": "left over after shimming",
    "thread_left": "thread left above the nut",
    "shift_along": "shift along the wall",
    "shift_in": "shift inward",
    "turn": "turn, counter-clockwise",
    "edge_left": "edge left",
    "edge_needed": "edge needed, AISC 360 Table J3.4",
    "lower_by": "lower by",
    "shims_saved": "shims saved",
    "shortfall": "below the highest pad",
    "deviation": "deviation",
    "engaged": "of the nut engaged",
    "ratio": "of the specified strength",
    "required": "needed",
    "move": "move",
}


def describe_check(check: Check, *, with_mark: bool = False) -> str:
    """Say what is measured, short enough for a line on a phone.

    Parameters
    ----------
    check : what is measured.
    placed : whether to say at which position a rod is, as where several are spoken of.
    """
    ends = " to ".join(check.corners)
    rods = " and ".join(str(number) for number in check.rods)
    words = {
        CheckKind.DIAGONAL: f"Diagonal {ends}",
        CheckKind.WALL: f"Wall {ends}, whole length",
        CheckKind.LINE: f"{check.mark}, reference line",
        CheckKind.SETBACK: f"Rod {rods}, setback from the steel line",
        CheckKind.OFFSET: f"Rod {rods}, offset from the reference line",
        CheckKind.GAGE: f"Rods {rods}, centre to centre",
        CheckKind.PROJECTION: f"Rod {rods}, projection",
        CheckKind.LEVEL: f"Pad {check.mark}",
        CheckKind.BENCHMARK: f"Benchmark {check.name}",
        CheckKind.STRENGTH: f"Sample {check.name}",
        CheckKind.NOTCH_WIDTH: f"Wall {ends}, notch width",
        CheckKind.NOTCH_DEPTH: f"Wall {ends}, notch depth",
        CheckKind.PLUMB: f"{check.mark}, lean {check.axis or ''}",
    }
    said = words[check.kind].strip()
    if with_mark and check.mark and check.rods:
        return f"{check.mark}, {said[0].lower()}{said[1:]}"
    return said


def describe_check_key(key: str) -> str:
    """Say what a check of a record is, where the plan it was of is not at hand."""
    kind, _, rest = key.partition(":")
    words = CHECK_KEY_LABELS.get(kind, "")
    parts = rest.rpartition(".")[::2] if words.count("{}") == 2 else (rest,)
    if not (words and all(parts)):
        return key
    return words.format(*parts)


def describe_circumstances(entry: Mapping[str, Any]) -> str:
    """Say with what and how a reading was taken, as far as it was written down."""
    words = {
        "instrument": "{}",
        "temperature": "{}",
        "tension": "pulled {}",
        "from": "from {}",
        "setup": "set-up {}",
        "height": "over {}",
        "span": "span {}",
        "slope_rise": "rise {}",
        "sight": "sight {}",
    }
    said = ", ".join(
        text.format(entry[name]) for name, text in words.items() if name in entry
    )
    return DEGREE_UNIT.sub(r"\1°\2", said)


def describe_topic(topic: str) -> str:
    """Say what a finding is about; a word nobody knows yet without its underscores."""
    word, _, rest = topic.partition(":")
    if word in TOPIC_LABELS:
        return TOPIC_LABELS[word].format(rest)
    return f"{word.replace('_', ' ').capitalize()} {rest}".strip()


def describe_topics(topics: Iterable[str]) -> str:
    """Say what several findings are about: Pads A1, A2, A3 … (10); Wall A-B."""
    by_word: dict[str, list[str]] = {}
    for topic in topics:
        word, _, rest = topic.partition(":")
        by_word.setdefault(word, []).append(rest)
    # What most of them are about comes first.
    words = sorted(by_word, key=lambda word: -len(by_word[word]))
    return "; ".join(_describe_places(word, by_word[word]) for word in words)


def _describe_places(word: str, places: list[str]) -> str:
    if len(places) == 1:
        return describe_topic(f"{word}:{places[0]}")
    names = ", ".join(places)
    if len(places) > MAX_LISTED_PLACES + 1:
        names = f"{', '.join(places[:MAX_LISTED_PLACES])} … ({len(places)})"
    named = PLURAL_TOPIC_LABELS.get(word)
    return named.format(names) if named else describe_topic(f"{word}:{names}")


def get_remedy_label(name: str) -> str:
    """Name a remedy for people."""
    return REMEDY_LABELS.get(name, name.replace("_", " ").capitalize())


def describe_remedy(remedy: Mapping[str, Any]) -> str:
    """Name a remedy with what it moves, where that is more than its own position."""
    scope = remedy.get("scope")
    if remedy["remedy"] != "shift" or not scope:
        return get_remedy_label(remedy["remedy"])
    return "Move all the steel" if scope == "steel" else f"Move frame line {scope}"


@dataclass(frozen=True, slots=True)
class LabelledValue:
    """One number of a remedy's arithmetic: a length in mm, or text."""

    label: str
    mm: float | None = None
    text: str = ""


def list_values(remedy: Mapping[str, Any], prefix: str = "") -> list[LabelledValue]:
    """Lay a remedy's arithmetic open, one figure a line."""
    return list(_iter_values(remedy, prefix))


def _iter_values(values: Mapping[str, Any], prefix: str) -> Iterator[LabelledValue]:
    # The database keeps a mapping's members in no order a reader would choose.
    known = [name for name in VALUE_LABELS if name in values]
    for name in [*known, *(name for name in values if name not in VALUE_LABELS)]:
        value = values[name]
        if value is None or (not prefix and name in HIDDEN_MEMBERS):
            continue
        label = f"{prefix}{VALUE_LABELS.get(name, name.replace('_', ' '))}"
        yield from _iter_value(name, label, value)


def _iter_value(name: str, label: str, value: Any) -> Iterator[LabelledValue]:
    if isinstance(value, Mapping):
        yield from _iter_values(value, f"{label}: ")
    elif isinstance(value, list) and value and isinstance(value[0], Mapping):
        for row in value:
            named = row.get("corner") or row.get("mark") or row.get("rod") or ""
            rest = {key: row[key] for key in row if key not in ("corner", "rod")}
            yield from _iter_values(rest, f"{label} {named}: ")
    elif isinstance(value, list):
        if value:
            yield LabelledValue(label, text=", ".join(str(item) for item in value))
    elif isinstance(value, bool):
        yield LabelledValue(label, text="yes" if value else "no")
    elif isinstance(value, int | float):
        yield _format_number(name, label, float(value))
    else:
        yield LabelledValue(label, text=str(value))


def _format_number(name: str, label: str, value: float) -> LabelledValue:
    if name in RATIO_MEMBERS or name.endswith("_ratio"):
        return LabelledValue(label, text=format_percent(value))
    if name in ANGLE_MEMBERS or name.endswith("_rad"):
        return LabelledValue(label, text=format_rotation(value))
    if name in DIRECTION_MEMBERS:
        return LabelledValue(label, text=format_direction(value))
    if name in COUNT_MEMBERS:
        return LabelledValue(label, text=f"{value:.0f}")
    if name.endswith("_mpa") or any(word in name for word in STRESS_WORDS):
        return LabelledValue(label, text=format_strength(value))
    if name.endswith("_n"):
        return LabelledValue(label, text=format_force(value))
    return LabelledValue(label, mm=value)
