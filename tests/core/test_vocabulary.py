"""The words that are stored have labels, and a model field can take them."""

import json

import pytest

from core import vocabulary

ENUMERATIONS = [
    vocabulary.Verdict,
    vocabulary.RemedyKind,
    vocabulary.Approval,
    vocabulary.DispositionKind,
    vocabulary.SteelState,
    vocabulary.StageKind,
    vocabulary.ReleaseKind,
]


@pytest.mark.parametrize("words", ENUMERATIONS)
def test_every_word_has_a_label_of_its_own(
    words: type[vocabulary.LabelledStrEnum],
) -> None:
    labels = [label for _, label in words.choices()]
    assert all(labels)
    assert len(set(labels)) == len(labels)
    assert words.values() == [value for value, _ in words.choices()]


def test_a_member_is_its_stored_value() -> None:
    assert vocabulary.Verdict.WITHIN == "within"
    assert vocabulary.Verdict("outside") is vocabulary.Verdict.OUTSIDE
    assert json.dumps([vocabulary.RemedyKind.RE_ANCHOR]) == '["re_anchor"]'
    assert f"{vocabulary.Approval.FIELD}" == "field"
