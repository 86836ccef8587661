"""Labels of checks, findings and remedies, in the words of crews and engineers.

The labels of verdicts, remedies, dispositions, stages and releases themselves are in
`core.vocabulary`; here they are joined with what they are about.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from checks.evaluation.finding_topics import TopicKind
from checks.evaluation.second_readings import describe_reading
from core.formatting import format_probability
from core.vocabulary import NextReadingKind, ReleaseKind, RemedyKind
from jobs.anchor_plan.check_keys import (
    Axis,
    CheckKey,
    CheckKeyError,
    CheckKind,
    kind_of,
)
from jobs.anchor_plan.planned_checks import Check
from jobs.exchange.result.document import CheckResult
from jobs.exchange.result.next_readings import SecondReadingResult

TOPIC_LABELS: dict[TopicKind, str] = {
    TopicKind.PLAN: "Plan, {}",
    TopicKind.SQUARENESS: "Walls and diagonals",
    TopicKind.WALL: "Wall {}",
    TopicKind.POSITION: "Rods at {}",
    TopicKind.BAY: "Bay {}",
    TopicKind.SPAN: "Span {}",
    TopicKind.PROJECTION: "Projection at {}",
    TopicKind.LEVEL: "Pad {}",
    TopicKind.LEVELS: "Misclosure of the levels",
    TopicKind.STRENGTH: "Concrete strength",
    TopicKind.FIT_UP: "Fit-up of the steel",
    TopicKind.NOTCH_WIDTH: "Notch width of wall {}",
    TopicKind.NOTCH_DEPTH: "Notch depth of wall {}",
    TopicKind.PLUMB: "Plumb of {}",
    # Rules of a tolerance basis on groups of rods and on column lines.
    TopicKind.WITHIN_GROUP: "Rods at {} against each other",
    TopicKind.ROD_FROM_GROUP_CENTRE: "Rods at {} from their common centre",
    TopicKind.GROUP_CENTRE: "Centre of the rods at {}",
    TopicKind.ADJACENT_GROUPS: "Spacing of neighbouring positions along {}",
    TopicKind.ACCUMULATED: "Accumulated spacing along {}",
    TopicKind.GROUP_TO_LINE: "Distance from the column line along {}",
}
PLURAL_TOPIC_LABELS = {
    TopicKind.WALL: "Walls {}",
    TopicKind.BAY: "Bays {}",
    TopicKind.SPAN: "Spans {}",
    TopicKind.LEVEL: "Pads {}",
}
MAX_LISTED_PLACES = 3  # of several findings; the rest are counted
AXIS_LABELS: dict[Axis, str] = {"in": "inward", "along": "along the wall"}
# Of a finding there is no sign to tell: only the direction it was measured in.
AXIS_DIRECTION_LABELS: dict[Axis, str] = {
    "in": "square to the wall",
    "along": "along the wall",
}
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
REQUIREMENT_LABELS = {  # what a release waits for: of one thing, of several
    "not_evaluated": ("readings or a plan revision not evaluated yet",) * 2,
    "not_measured": ("1 check not measured", "{count} checks not measured"),
    "repeats_disagree": (
        "1 check to be measured again",
        "{count} checks to be measured again",
    ),
    "measured_before_pour": (
        "1 check not measured again since the pour",
        "{count} checks not measured again since the pour",
    ),
    "erection_outside": (
        "1 check of the erection not within",
        "{count} checks of the erection not within",
    ),
    "undecided": ("1 finding needs a decision", "{count} findings need a decision"),
    "decision_outdated": (
        "1 finding decided on other readings",
        "{count} findings decided on other readings",
    ),
    "to_remeasure": (
        "1 finding to be measured again",
        "{count} findings to be measured again",
    ),
    "work_not_done": (
        "1 finding decided, work not done",
        "{count} findings decided, work not done",
    ),
    "work_not_verified": (
        "1 finding with work done, not measured within or accepted since",
        "{count} findings with work done, not measured within or accepted since",
    ),
    "no_specified_strength": ("no strength specified on the plan",) * 2,
    "no_sample": ("no field-cured sample tested",) * 2,
    "samples_rejected": ("no field-cured sample that counts ({detail})",) * 2,
    "strength_not_met": ("strength not met",) * 2,
    "cylinders_disagree": ("companion cylinders disagree: test again",) * 2,
    "release_not_signed": ("{label} not signed",) * 2,
}


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
    pair = " to ".join(check.marks)
    axis = AXIS_LABELS[check.axis] if check.axis else ""
    text = {
        CheckKind.DIAGONAL: f"Diagonal {ends}",
        CheckKind.WALL: f"Wall {ends}, overall length",
        CheckKind.LINE: f"{check.mark}, reference line",
        CheckKind.BAY: f"Bay {pair}, between reference lines",
        CheckKind.SPAN: f"Span {pair}, across the frame",
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
    pair = " to ".join(parts.marks) or subject
    axis = AXIS_LABELS[parts.axis] if parts.axis else ""
    return {
        CheckKind.DIAGONAL: f"Diagonal {subject}",
        CheckKind.WALL: f"Wall {subject}, overall length",
        CheckKind.LINE: f"{mark}, reference line",
        CheckKind.BAY: f"Bay {pair}, between reference lines",
        CheckKind.SPAN: f"Span {pair}, across the frame",
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


def describe_requirement(code: str, keys: Sequence[str] = (), detail: str = "") -> str:
    """Return what a release waits for: 6 checks not measured.

    Parameters
    ----------
    code : a `RequirementCode`.
    keys : the checks, findings or release that it concerns.
    detail : why no sample counts.
    """
    one, several = REQUIREMENT_LABELS[code]
    label = ReleaseKind(keys[0]).label if code == "release_not_signed" else ""
    text = one if len(keys) == 1 else several
    return text.format(count=len(keys), detail=detail, label=label)


def describe_topic(topic: str) -> str:
    """Return what a finding is about, such as `Pad S2` for `level:S2`.

    An unknown topic, written by a later version, is shown without its underscores.
    """
    word, _, subject = topic.partition(":")
    return _format_topic(word, _describe_subject(word, subject))


def describe_topics(topics: Iterable[str]) -> str:
    """Return what several findings are about: Pads A1, A2, A3 … (10); Wall A-B."""
    by_word: dict[str, list[str]] = {}
    for topic in topics:
        word, _, subject = topic.partition(":")
        by_word.setdefault(word, []).append(_describe_subject(word, subject))
    largest_first = sorted(by_word, key=lambda word: -len(by_word[word]))
    return "; ".join(_format_topics(word, by_word[word]) for word in largest_first)


def _describe_subject(word: str, subject: str) -> str:
    if word != TopicKind.PLUMB:
        return subject
    mark, _, axis = subject.rpartition(".")
    labels = AXIS_DIRECTION_LABELS.items()
    label = next((text for each, text in labels if each == axis), "")
    return f"{mark}, {label}" if label else subject


def _format_topics(word: str, subjects: list[str]) -> str:
    names = ", ".join(subjects)
    if len(subjects) > MAX_LISTED_PLACES + 1:
        names = f"{', '.join(subjects[:MAX_LISTED_PLACES])} … ({len(subjects)})"
    if len(subjects) > 1 and word in PLURAL_TOPIC_LABELS:
        return PLURAL_TOPIC_LABELS[TopicKind(word)].format(names)
    return _format_topic(word, names)


def _format_topic(word: str, subject: str) -> str:
    if word in TOPIC_LABELS:
        return TOPIC_LABELS[TopicKind(word)].format(subject)
    return f"{word.replace('_', ' ').capitalize()} {subject}".strip()


def get_remedy_label(name: str) -> str:
    """Return the label of a remedy; of an unknown one, its name as words."""
    try:
        return RemedyKind(name).label
    except ValueError:
        return name.replace("_", " ").capitalize()


def describe_remedy(remedy: Mapping[str, Any]) -> str:
    """Return the label of a remedy: of a move of the steel, with what is moved."""
    scope, checks = remedy.get("scope"), remedy.get("checks", ())
    kinds = {kind_of(key) for key in checks}
    if remedy["remedy"] == RemedyKind.REMEASURE and kinds == {CheckKind.STRENGTH}:
        return "Test another cylinder"  # a broken one cannot be read again
    if remedy["remedy"] != RemedyKind.SHIFT or not scope:
        return get_remedy_label(remedy["remedy"])
    return "Move all the steel" if scope == "steel" else f"Move frame line {scope}"


def describe_order(remedy: Mapping[str, Any]) -> str:
    """Return the label of a remedy that was ordered.

    Whatever the engineer orders in their own words is recorded as a referral.
    """
    if remedy["remedy"] == RemedyKind.REFER:
        return "Other, as ordered"
    return describe_remedy(remedy)


def describe_second_reading(second: SecondReadingResult) -> str:
    """Describe the reading that would settle a verdict best, and what it would do."""
    how = describe_reading(NextReadingKind(second["kind"]), second["instrument"])
    before, after = (format_probability(second[when]) for when in ("before", "after"))
    return (
        f"read it {how}; the chance that the verdict is wrong falls from {before}"
        f" to {after}"
    )


def get_nearer_bound(result: CheckResult) -> float | None:
    """Return the largest size of a deviation on the side where it lies. [mm]

    None where the check has no limit on that side.
    """
    deviation = result.get("deviation")
    if deviation is None:
        return None
    bound = result.get("upper") if deviation > 0 else result.get("lower")
    return None if bound is None else abs(bound)
