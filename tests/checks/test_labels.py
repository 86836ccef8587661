"""Every finding, verdict and remedy is named for people."""

import re

import pytest

from checks.evaluation.evaluate import evaluate
from checks.evaluation.finding_topics import BUILDING_TOPICS, TopicKind
from checks.labels import (
    TOPIC_LABELS,
    describe_check,
    describe_check_key,
    describe_circumstances,
    describe_remedy,
    describe_topic,
    get_remedy_label,
)
from core.vocabulary import RemedyKind
from jobs.anchor_plan.check_keys import CheckKind, kind_of
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.exchange.input.parser import parse_building
from jobs.exchange.result.findings import COMPUTED_REMEDIES
from jobs.exchange.vocabulary import TOLERANCE_BASES
from tests import documents

RAW = re.compile(r"[_{}]|\w:\w")


def test_circumstances_are_written_as_a_person_writes_them() -> None:
    told = describe_circumstances({"instrument": "T1", "temperature": "54 degF"})
    assert told == "T1, 54 °F"


@pytest.mark.parametrize(
    ("axis", "direction"), [("in", "square to the wall"), ("along", "along the wall")]
)
def test_a_lean_is_named_by_its_direction_and_not_by_a_sign(axis, direction) -> None:
    assert describe_topic(f"plumb:A2.{axis}") == f"Plumb of A2, {direction}"


@pytest.mark.parametrize("word", sorted(TopicKind))
def test_no_topic_is_shown_raw(word: str) -> None:
    assert word in TOPIC_LABELS
    words = describe_topic(f"{word}:A-1")
    assert not RAW.search(words)
    assert "A-1" in words or word in BUILDING_TOPICS


@pytest.mark.parametrize("basis", TOLERANCE_BASES)
def test_nothing_a_bad_building_opens_is_shown_raw(basis: str) -> None:
    """Everything out at once, on every basis: rods, groups, levels, notch, strength."""
    document = documents.shed()
    document["tolerances"] = {"basis": basis}
    for number, reading in enumerate(document["readings"]):
        if reading["value"].endswith(" mm"):
            value = float(reading["value"].removesuffix(" mm"))
            reading["value"] = f"{value + 20 + number % 7 * 5:.3f} mm"
        else:
            reading["value"] = "900 psi"
    result = evaluate(parse_building(document))
    assert len(result["findings"]) > 10
    for finding in result["findings"]:
        word = finding["finding"].partition(":")[0]
        assert word in TOPIC_LABELS, finding["finding"]
        assert not RAW.search(describe_topic(finding["finding"]))
        for remedy in finding["remedies"]:
            assert "_" not in get_remedy_label(remedy["remedy"])


def test_a_topic_of_a_later_version_still_reads_as_words() -> None:
    assert describe_topic("anchor_chair:B4") == "Anchor chair B4"


def test_every_check_of_the_sheet_is_in_words() -> None:
    for check in build_check_sheet(parse_building(documents.plan()).plan):
        assert not RAW.search(describe_check(check))


def test_every_remedy_of_the_result_document_has_a_name() -> None:
    for name in COMPUTED_REMEDIES:
        assert name in RemedyKind.values()
        assert "_" not in get_remedy_label(name)


def test_a_move_of_more_than_one_position_says_what_it_moves() -> None:
    assert (
        describe_remedy({"remedy": "shift", "scope": "steel"}) == "Move all the steel"
    )
    assert (
        describe_remedy({"remedy": "shift", "scope": "A2-B2"})
        == "Move frame line A2-B2"
    )
    assert describe_remedy({"remedy": "shift"}) == "Shift the plate within tolerance"


def test_concrete_is_not_measured_again_but_tested_on_another_cylinder() -> None:
    samples = {"remedy": "remeasure", "checks": ["strength:F1", "strength:F2"]}
    assert describe_remedy(samples) == "Test another cylinder"
    pad = {"remedy": "remeasure", "checks": ["level:A1"]}
    assert describe_remedy(pad) == "Measure again"


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("setback:S.1.2", "S.1, rod 2, setback"),
        ("gage:S1.1-3", "S1, rods 1-3, centre to centre"),
        ("plumb:S1.in", "S1, lean inward"),
        ("level:S1", "Pad S1"),
        ("", ""),
        ("sounding:S1", "sounding:S1"),
        ("setback:S1", "setback:S1"),
    ],
)
def test_a_check_of_the_record_is_said_in_words(key: str, said: str) -> None:
    assert describe_check_key(key) == said


def test_every_kind_of_check_has_words_of_its_own() -> None:
    keys = [
        "diagonal:A-C", "wall:A-B", "line:S1", "bay:S1-S2", "span:S1-N1",
        "setback:S1.1", "offset:S1.1",
        "gage:S1.1-2", "projection:S1.1", "level:S1", "benchmark:B1", "strength:F1",
        "notch_width:A-B", "notch_depth:A-B", "plumb:S1.along",
    ]  # fmt: skip
    assert [kind_of(key) for key in keys] == list(CheckKind)
    assert not [key for key in keys if RAW.search(describe_check_key(key))]
