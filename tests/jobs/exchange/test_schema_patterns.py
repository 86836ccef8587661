"""The patterns of the published schema against what the parser reads."""

import re

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from core.quantities import parse_strength
from core.units import UnitError, parse_length
from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.issues import IssueCollector
from jobs.exchange.schema import input_patterns as patterns

PARTS = [
    *"0123456789", *"¼½⅛¾./ -+,e'\"",
    *"\u2032\u2033\u2019\u201d\u2044\u2212\u2010\u00a0\u2007\u202f",
    "ft", "in", "mm", "cm", "m", " ", "1/2", "'-", "23", "4 1/2", "11",
]  # fmt: skip
COMPUTED = (
    "not less than 1|must be under 12|denominator is zero|longer than 10 km|too long"
)


def why_refused(read, text):
    try:
        read(text)
    except UnitError as error:
        return str(error)
    return ""


@settings(max_examples=4000, deadline=None)
@given(st.lists(st.sampled_from(PARTS), min_size=1, max_size=9).map("".join))
@example("31' 7 1/2\"")
@example("31'-½\"")
@example('4 9/8"')
@example("31' 14\"")
@example("31' -7\"")
@example("1½")
@example(" \u22124½\u2033 ")
@example("3 1/2'")
@example("2 1/2' 3\"")
@example("1/2 mm")
def test_the_pattern_of_a_length_is_its_grammar(text):
    refused = why_refused(parse_length, text)
    fits = bool(re.search(patterns.LENGTH, text)) and len(text) <= 60
    if not refused:
        assert fits, text
    elif fits:
        assert re.search(COMPUTED, refused), (text, refused)


@settings(max_examples=1500, deadline=None)
@given(
    st.lists(
        st.sampled_from([*"0123456789.-+\u2212 /*·^²", "psi", "MPa", "N", "mm", "lbf"]),
        min_size=1,
        max_size=8,
    ).map("".join)
)
@example("3000 psi")
@example("20.7 N/mm^2")
@example("1 kgf / cm²")
def test_the_pattern_of_a_quantity_is_its_grammar(text):
    refused = why_refused(parse_strength, text)
    fits = bool(re.search(patterns.QUANTITY, text))
    if not refused:
        assert fits, text
    elif fits:
        assert "is not a unit for" in refused, (text, refused)


def refused_by(read, text):
    refusals = IssueCollector()
    read(JsonReader(text, refusals))
    return bool(refusals.issues)


@settings(max_examples=1000, deadline=None)
@given(st.text("ab Ünt-._\t\n\x00\x7f\x85\xa0\u2028", max_size=6))
def test_the_pattern_of_a_name_is_what_a_name_may_be(text):
    assert refused_by(JsonReader.read_name, text) == (
        not re.search(patterns.NAME, text)
    )


@settings(max_examples=500, deadline=None)
@given(st.text("a\t\n\r\x00\x0b\x7f\x85\xa0\u2028", max_size=4))
def test_the_pattern_of_a_note_is_what_a_note_may_be(text):
    fits = bool(re.search(patterns.NOTE, text))
    assert refused_by(lambda cursor: cursor.read_note(9), text) == (not fits)


@pytest.mark.parametrize(
    ("text", "fits"),
    [
        ("2026-03-09T14:05:00Z", True),
        ("2026-03-09t14:05z", True),
        ("2026-03-09T14:05:00.123456-05:30", True),
        ("2026-03-09T14:05:00", False),
        ("2026-03-09 14:05:00Z", False),
        ("2026-03-09T24:00:00Z", False),
        ("2026-03-09T14:05:60Z", False),
        ("2026-03-09T14:05:00+05:60", False),
        ("2026-03-09T14:05:00+24:00", False),
        ("2026-13-09T14:05:00Z", False),
        ("2026-03-09T14:05:00.1234567Z", False),
    ],
)
def test_the_pattern_of_a_time_is_what_a_time_may_be(text, fits):
    assert bool(re.search(patterns.TIME, text)) == fits
    assert refused_by(JsonReader.read_time, text) == (not fits)
