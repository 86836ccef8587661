"""A topic of a finding is written and parsed in one place."""

import json

import pytest

from checks.evaluation.finding_topics import (
    BUILDING_TOPICS,
    GROUP_RULE_TOPICS,
    FindingTopic,
    FindingTopicError,
    TopicKind,
)
from checks.tolerances.limits import GROUP_RULE_KEYS


@pytest.mark.parametrize("kind", sorted(TopicKind))
def test_a_topic_that_was_written_is_parsed_into_its_parts(kind: TopicKind) -> None:
    if kind in BUILDING_TOPICS:
        topic, subject = FindingTopic.for_building(kind), ""
    else:
        subject = "S1.in" if kind is TopicKind.PLUMB else "A-B"
        topic = FindingTopic.for_subject(kind, subject)
    assert (topic.kind, topic.subject) == (kind, subject)
    assert FindingTopic(str(topic)) == topic
    assert json.dumps([topic]) == json.dumps([str(topic)])


@pytest.mark.parametrize(
    ("text", "mark"),
    [
        ("position:S1", "S1"),
        ("projection:S1", "S1"),
        ("level:S1", "S1"),
        ("plumb:S1.in", "S1"),
        ("within_group:S1", "S1"),
        ("wall:A-B", None),
        ("adjacent_groups:A-B", None),
        ("squareness", None),
    ],
)
def test_the_position_of_a_topic_is_known_where_it_is_one(
    text: str, mark: str | None
) -> None:
    assert FindingTopic(text).mark == mark


def test_a_topic_about_one_check_gives_its_key() -> None:
    assert FindingTopic("level:S1").check_key == "level:S1"
    assert FindingTopic("position:S1").check_key is None


@pytest.mark.parametrize("text", ["", "tree:S1", "position", "position:", "levels:S1"])
def test_text_that_is_no_topic_is_refused(text: str) -> None:
    with pytest.raises(FindingTopicError, match="no topic of a finding"):
        FindingTopic(text)


def test_every_group_rule_of_a_basis_has_a_topic() -> None:
    assert set(GROUP_RULE_KEYS) == GROUP_RULE_TOPICS
