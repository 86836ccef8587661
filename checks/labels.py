"""Labels of checks, findings and remedies, in the words of crews and engineers.

The labels of verdicts, remedies, dispositions, stages and releases themselves are in
`core.vocabulary`; here they are joined with what they are about.
"""

import re
from collections.abc import Iterable, Mapping
from typing import Any

from core.vocabulary import RemedyKind
from jobs.anchor_plan.check_keys import Axis, CheckKey, CheckKeyError, CheckKind
from jobs.anchor_plan.planned_checks import Check

TOPIC_LABELS = {
    "squareness": "Outline out of square",
    "wall": "Wall {}",
    "position": "Rods at {}",
    "projection": "Projection at {}",
    "level": "Pad {}",
    "levels": "Misclosure of the levels",
    "strength": "Concrete strength",
    "notch_width": "Notch width of wall {}",
    "notch_depth": "Notch depth of wall {}",
    "plumb": "Plumb of {}",
    # Rules of a tolerance basis on groups of rods and on column lines.
    "within_group": "Rods at {} against each other",
    "rod_from_group_centre": "Rods at {} from their common centre",
    "group_centre": "Centre of the rods at {}",
    "adjacent_groups": "Spacing of neighbouring positions along {}",
    "accumulated": "Accumulated spacing along {}",
    "group_to_line": "Distance from the column line along {}",
}
PLURAL_TOPIC_LABELS = {"wall": "Walls {}", "level": "Pads {}"}
MAX_LISTED_PLACES = 3  # of several findings; the rest are counted
AXIS_LABELS: dict[Axis, str] = {"in": "inward", "along": "along the wall"}
CIRCUMSTANCE_LABELS = {
    "instrument": "{}",
    "temperature": "{}",
    "tension": "tension {}",
    "from": "from {}",
    "setup": "set-up {}",
    "height": "over a height of {}",
    "span": "span {}",
    "slope_rise": "rise {}",
    "sight": "sight distance {}",
}
DEGREE_UNIT = re.compile(r"(\d ?)deg([CF])\b")


def describe_check(check: Check, *, with_mark: bool = False) -> str:
    """Return what is measured, short enough for one line on a phone.

    Parameters
    ----------
    check : Check
        What is measured.
    with_mark : bool
        Name the position of a rod too, for lists with several positions.
    """
    ends = " to ".join(check.corners)
    rods = " and ".join(str(number) for number in check.rods)
    axis = AXIS_LABELS[check.axis] if check.axis else ""
    text = {
        CheckKind.DIAGONAL: f"Diagonal {ends}",
        CheckKind.WALL: f"Wall {ends}, overall length",
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
        CheckKind.PLUMB: f"{check.mark}, lean {axis}",
    }[check.kind].strip()
    if with_mark and check.mark and check.rods:
        return f"{check.mark}, {text[0].lower()}{text[1:]}"
    return text


def describe_check_key(key: str) -> str:
    """Return what a check measures from its key alone.

    A stored reading outlives the plan it was taken on, so the planned check may be
    gone. Text that is no check key is returned as it is.
    """
    try:
        parts = CheckKey(key)
    except CheckKeyError:
        return key
    subject, mark = parts.subject, parts.mark
    rods = "-".join(str(number) for number in parts.rods)
    axis = AXIS_LABELS[parts.axis] if parts.axis else ""
    return {
        CheckKind.DIAGONAL: f"Diagonal {subject}",
        CheckKind.WALL: f"Wall {subject}, overall length",
        CheckKind.LINE: f"{mark}, reference line",
        CheckKind.SETBACK: f"{mark}, rod {rods}, setback",
        CheckKind.OFFSET: f"{mark}, rod {rods}, offset",
        CheckKind.GAGE: f"{mark}, rods {rods}, centre to centre",
        CheckKind.PROJECTION: f"{mark}, rod {rods}, projection",
        CheckKind.LEVEL: f"Pad {mark}",
        CheckKind.BENCHMARK: f"Benchmark {subject}",
        CheckKind.STRENGTH: f"Sample {subject}",
        CheckKind.NOTCH_WIDTH: f"Wall {subject}, notch width",
        CheckKind.NOTCH_DEPTH: f"Wall {subject}, notch depth",
        CheckKind.PLUMB: f"{mark}, lean {axis}",
    }[parts.kind]


def describe_circumstances(entry: Mapping[str, Any]) -> str:
    """Return how a reading was taken: instrument, temperature, set-up and so on.

    Parameters
    ----------
    entry : mapping
        The reading as it was sent, with the members of the exchange document.
    """
    text = ", ".join(
        label.format(entry[name])
        for name, label in CIRCUMSTANCE_LABELS.items()
        if name in entry
    )
    return DEGREE_UNIT.sub(r"\1°\2", text)


def describe_topic(topic: str) -> str:
    """Return what a finding is about, such as `Pad S2` for `level:S2`.

    An unknown topic, written by a later version, is shown without its underscores.
    """
    word, _, subject = topic.partition(":")
    if word == CheckKind.PLUMB:
        mark, _, axis = subject.rpartition(".")
        label = next((text for each, text in AXIS_LABELS.items() if each == axis), "")
        subject = f"{mark}, {label}" if label else subject
    if word in TOPIC_LABELS:
        return TOPIC_LABELS[word].format(subject)
    return f"{word.replace('_', ' ').capitalize()} {subject}".strip()


def describe_topics(topics: Iterable[str]) -> str:
    """Return what several findings are about: Pads A1, A2, A3 … (10); Wall A-B."""
    by_word: dict[str, list[str]] = {}
    for topic in topics:
        word, _, subject = topic.partition(":")
        by_word.setdefault(word, []).append(subject)
    largest_first = sorted(by_word, key=lambda word: -len(by_word[word]))
    return "; ".join(_describe_places(word, by_word[word]) for word in largest_first)


def _describe_places(word: str, places: list[str]) -> str:
    if len(places) == 1:
        return describe_topic(f"{word}:{places[0]}")
    names = ", ".join(places)
    if len(places) > MAX_LISTED_PLACES + 1:
        names = f"{', '.join(places[:MAX_LISTED_PLACES])} … ({len(places)})"
    plural = PLURAL_TOPIC_LABELS.get(word)
    return plural.format(names) if plural else describe_topic(f"{word}:{names}")


def get_remedy_label(name: str) -> str:
    """Return the label of a remedy; of an unknown one, its name as words."""
    try:
        return RemedyKind(name).label
    except ValueError:
        return name.replace("_", " ").capitalize()


def describe_remedy(remedy: Mapping[str, Any]) -> str:
    """Return the label of a remedy; of a move of the steel, with what is moved."""
    scope = remedy.get("scope")
    if remedy["remedy"] != RemedyKind.SHIFT or not scope:
        return get_remedy_label(remedy["remedy"])
    return "Move all the steel" if scope == "steel" else f"Move frame line {scope}"
