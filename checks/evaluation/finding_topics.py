"""Finding topics: the one place that writes and parses `position:S1` and its like.

A topic says what a finding is about, the same in every evaluation of a building, so
that a stored finding can follow the evaluations::

    plan:DETAIL  plan:MARK  plan:marks                      the plan itself
    squareness  levels  strength  fit_up                    the building
    position:MARK  projection:MARK                          the rods of a position
    wall:A-B  level:MARK  notch_width:A-B  plumb:MARK.in    one check, by its key
    bay:MARK-MARK  span:MARK-MARK                           likewise
    adjacent_groups:A-B  within_group:MARK                  a group rule of the basis
"""

from enum import StrEnum
from typing import Self

from checks.tolerances.limits import GROUP_RULE_KEYS
from jobs.anchor_plan.check_keys import CheckKey, CheckKind


class TopicKind(StrEnum):
    """Kinds of topics: the word in front of the topic's colon, or the word alone."""

    PLAN = "plan"
    SQUARENESS = "squareness"
    WALL = CheckKind.WALL.value
    POSITION = "position"
    BAY = CheckKind.BAY.value
    SPAN = CheckKind.SPAN.value
    WITHIN_GROUP = "within_group"
    ADJACENT_GROUPS = "adjacent_groups"
    ACCUMULATED = "accumulated"
    GROUP_TO_LINE = "group_to_line"
    GROUP_CENTRE = "group_centre"
    ROD_FROM_GROUP_CENTRE = "rod_from_group_centre"
    PROJECTION = "projection"
    LEVELS = "levels"
    LEVEL = CheckKind.LEVEL.value
    NOTCH_WIDTH = CheckKind.NOTCH_WIDTH.value
    NOTCH_DEPTH = CheckKind.NOTCH_DEPTH.value
    STRENGTH = "strength"
    FIT_UP = "fit_up"
    PLUMB = CheckKind.PLUMB.value


BUILDING_TOPICS = frozenset(
    {TopicKind.SQUARENESS, TopicKind.LEVELS, TopicKind.STRENGTH, TopicKind.FIT_UP}
)
"""Kinds about the whole building: the topic is the word alone."""

PATTERN_TOPICS = frozenset({TopicKind.POSITION, TopicKind.PROJECTION})
"""Kinds about the rods of a position: they depend on all rods of its mark."""

GROUP_RULE_TOPICS = frozenset(TopicKind(key) for key in GROUP_RULE_KEYS)
"""Kinds about a group rule of the tolerance basis."""

GROUP_TOPICS = frozenset(
    {
        TopicKind.WITHIN_GROUP,
        TopicKind.GROUP_CENTRE,
        TopicKind.ROD_FROM_GROUP_CENTRE,
    }
)
"""Group rules that apply to one position; the others apply along a wall."""

_CHECK_TOPICS = frozenset(
    {
        TopicKind.WALL,
        TopicKind.BAY,
        TopicKind.SPAN,
        TopicKind.LEVEL,
        TopicKind.NOTCH_WIDTH,
        TopicKind.NOTCH_DEPTH,
        TopicKind.PLUMB,
    }
)


class FindingTopicError(ValueError):
    """Text that is no topic of a finding."""


class FindingTopic(str):
    """The topic of a finding, such as `position:S1`: a string that knows its parts.

    It equals, hashes and serialises as its text, like `CheckKey`.

    Raises
    ------
    FindingTopicError
        If the text has no known kind, or lacks its subject.
    """

    __slots__ = ()

    def __new__(cls, text: str) -> Self:
        """Parse the text of a topic."""
        kind, subject = _split(text)
        if (not subject) is not (kind in BUILDING_TOPICS):
            raise FindingTopicError(f"“{text[:120]}” is no topic of a finding.")
        return str.__new__(cls, text)

    @classmethod
    def for_building(cls, kind: TopicKind) -> Self:
        """Write the topic of a finding about the whole building."""
        return cls(kind.value)

    @classmethod
    def for_subject(cls, kind: TopicKind, subject: str) -> Self:
        """Write the topic of a finding about a position, or a group rule's place."""
        return cls(f"{kind.value}:{subject}")

    @classmethod
    def for_check(cls, key: str) -> Self:
        """Write the topic of a finding about one check."""
        return cls(key)

    @property
    def kind(self) -> TopicKind:
        """The word in front of the colon, or alone."""
        return _split(self)[0]

    @property
    def subject(self) -> str:
        """Everything behind the colon; empty for the whole building."""
        return _split(self)[1]

    @property
    def check_key(self) -> CheckKey | None:
        """The check a finding is about, where it is one check."""
        return CheckKey(self) if self.kind in _CHECK_TOPICS else None

    @property
    def mark(self) -> str | None:
        """The position a finding is about, where it is one position."""
        if self.kind in PATTERN_TOPICS or self.kind in GROUP_TOPICS:
            return self.subject
        return self.check_key.mark if self.check_key is not None else None


def _split(text: str) -> tuple[TopicKind, str]:
    word, _, subject = text.partition(":")
    try:
        return TopicKind(word), subject
    except ValueError as error:
        raise FindingTopicError(f"“{text[:120]}” is no topic of a finding.") from error
