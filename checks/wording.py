"""Checks, findings and figures in the words a crew and an engineer use."""

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from core.units import PSI_PER_MPA
from jobs.plan.sheet import Check, Kind

REMEDIES = {
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
TOPICS = {
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
KEYS = {
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
SEVERAL = {"wall": "Walls {}", "level": "Pads {}"}  # of the topics above
NAMED = 3  # of several; the rest is counted
PLAIN_TEXT = frozenset(
    {"remedy", "approval", "reason", "cautions", "why_second", "rods", "checks"}
)
RATIOS = frozenset({"ratio", "required", "engaged"})
ANGLES = frozenset({"turn", "lean"})
DIRECTIONS = frozenset({"direction"})
DEGREES = re.compile(r"(\d ?)deg([CF])\b")
COUNTS = frozenset({"shims_saved", "rod", "count"})
STRESSES = ("strength", "stress")
LABELS = {
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


def check_words(check: Check, *, placed: bool = False) -> str:
    """Say what is measured, short enough for a line on a phone.

    Parameters
    ----------
    check : what is measured.
    placed : whether to say at which position a rod is, as where several are spoken of.
    """
    ends = " to ".join(check.corners)
    rods = " and ".join(str(number) for number in check.rods)
    words = {
        Kind.DIAGONAL: f"Diagonal {ends}",
        Kind.WALL: f"Wall {ends}, whole length",
        Kind.LINE: f"{check.mark}, reference line",
        Kind.SETBACK: f"Rod {rods}, setback from the steel line",
        Kind.OFFSET: f"Rod {rods}, offset from the reference line",
        Kind.GAGE: f"Rods {rods}, centre to centre",
        Kind.PROJECTION: f"Rod {rods}, projection",
        Kind.LEVEL: f"Pad {check.mark}",
        Kind.BENCHMARK: f"Benchmark {check.name}",
        Kind.STRENGTH: f"Sample {check.name}",
        Kind.NOTCH_WIDTH: f"Wall {ends}, notch width",
        Kind.NOTCH_DEPTH: f"Wall {ends}, notch depth",
        Kind.PLUMB: f"{check.mark}, lean {check.axis or ''}",
    }
    said = words[check.kind].strip()
    if placed and check.mark and check.rods:
        return f"{check.mark}, {said[0].lower()}{said[1:]}"
    return said


def key_words(key: str) -> str:
    """Say what a check of a record is, where the plan it was of is not at hand."""
    kind, _, rest = key.partition(":")
    words = KEYS.get(kind, "")
    parts = rest.rpartition(".")[::2] if words.count("{}") == 2 else (rest,)
    if not (words and all(parts)):
        return key
    return words.format(*parts)


def circumstances_of(entry: Mapping[str, Any]) -> str:
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
    return DEGREES.sub(r"\1°\2", said)


def topic_words(topic: str) -> str:
    """Say what a finding is about; a word nobody knows yet without its underscores."""
    word, _, rest = topic.partition(":")
    if word in TOPICS:
        return TOPICS[word].format(rest)
    return f"{word.replace('_', ' ').capitalize()} {rest}".strip()


def topics_words(topics: Iterable[str]) -> str:
    """Say what several findings are about: Pads A1, A2, A3 … (10); Wall A-B."""
    by_word: dict[str, list[str]] = {}
    for topic in topics:
        word, _, rest = topic.partition(":")
        by_word.setdefault(word, []).append(rest)
    # What most of them are about comes first.
    words = sorted(by_word, key=lambda word: -len(by_word[word]))
    return "; ".join(_several(word, by_word[word]) for word in words)


def _several(word: str, places: list[str]) -> str:
    if len(places) == 1:
        return topic_words(f"{word}:{places[0]}")
    names = ", ".join(places)
    if len(places) > NAMED + 1:
        names = f"{', '.join(places[:NAMED])} … ({len(places)})"
    named = SEVERAL.get(word)
    return named.format(names) if named else topic_words(f"{word}:{names}")


def remedy_words(name: str) -> str:
    """Name a remedy for people."""
    return REMEDIES.get(name, name.replace("_", " ").capitalize())


def order_words(remedy: Mapping[str, Any]) -> str:
    """Name a remedy with what it moves, where that is more than its own position."""
    scope = remedy.get("scope")
    if remedy["remedy"] != "shift" or not scope:
        return remedy_words(remedy["remedy"])
    return "Move all the steel" if scope == "steel" else f"Move frame line {scope}"


def strength_words(mpa: float) -> str:
    """Write a strength in either unit: 3,000 psi (20.7 MPa)."""
    return f"{mpa * PSI_PER_MPA:z,.0f} psi ({mpa:z.1f} MPa)"


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of a remedy's arithmetic: a length in mm, or text."""

    label: str
    mm: float | None = None
    text: str = ""


def figures_of(remedy: Mapping[str, Any], prefix: str = "") -> list[Figure]:
    """Lay a remedy's arithmetic open, one figure a line."""
    return list(_figures(remedy, prefix))


def _figures(values: Mapping[str, Any], prefix: str) -> Iterator[Figure]:
    # The database keeps a mapping's members in no order a reader would choose.
    known = [name for name in LABELS if name in values]
    for name in [*known, *(name for name in values if name not in LABELS)]:
        value = values[name]
        if value is None or (not prefix and name in PLAIN_TEXT):
            continue
        label = f"{prefix}{LABELS.get(name, name.replace('_', ' '))}"
        yield from _figure(name, label, value)


def _figure(name: str, label: str, value: Any) -> Iterator[Figure]:
    if isinstance(value, Mapping):
        yield from _figures(value, f"{label}: ")
    elif isinstance(value, list) and value and isinstance(value[0], Mapping):
        for row in value:
            named = row.get("corner") or row.get("mark") or row.get("rod") or ""
            rest = {key: row[key] for key in row if key not in ("corner", "rod")}
            yield from _figures(rest, f"{label} {named}: ")
    elif isinstance(value, list):
        if value:
            yield Figure(label, text=", ".join(str(item) for item in value))
    elif isinstance(value, bool):
        yield Figure(label, text="yes" if value else "no")
    elif isinstance(value, int | float):
        yield _number(name, label, float(value))
    else:
        yield Figure(label, text=str(value))


def _number(name: str, label: str, value: float) -> Figure:
    if name in RATIOS or name.endswith("_ratio"):
        return Figure(label, text=f"{value:.0%}")
    if name in ANGLES or name.endswith("_rad"):
        return Figure(label, text=f"{value * 1000:z.2f} mrad")
    if name in DIRECTIONS:
        return Figure(label, text=f"{math.degrees(value):.0f}°")
    if name in COUNTS:
        return Figure(label, text=f"{value:.0f}")
    if name.endswith("_mpa") or any(word in name for word in STRESSES):
        return Figure(label, text=strength_words(value))
    if name.endswith("_n"):
        return Figure(label, text=f"{value / 1000:.1f} kN")
    return Figure(label, mm=value)
