"""Exchange documents as text: what JSON lets through and a record cannot."""

import json
import time
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.exchange.input.parser import parse_building, parse_building_text
from jobs.exchange.issues import DocumentError
from tests.jobs.exchange.example import example


def refused(text):
    with pytest.raises(DocumentError) as error:
        parse_building_text(text)
    return {each.pointer: each.message for each in error.value.issues}


def test_text_bytes_and_parsed_json_read_the_same():
    text = json.dumps(example())
    expected = parse_building(example())
    assert parse_building_text(text) == expected
    assert parse_building_text(text.encode()) == expected
    assert (
        parse_building_text(b"\xef\xbb\xbf" + text.encode()) == expected
    )  # with its BOM
    assert (
        parse_building_text(json.dumps(example(), ensure_ascii=False).encode())
        == expected
    )


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("", "not JSON"),
        ("{", "line 1, column 2"),
        ("{'a': 1}", "not JSON"),
        (b"\xff\xfe{}", "not UTF-8"),
        ("[" * 100_000 + "]" * 100_000, "nested too deeply"),
        ('{"name": ' * 100_000, "nested too deeply"),
        ("1" * 5000, "too many digits"),
    ],
)
def test_what_is_not_json_is_refused_as_a_whole(text, hint):
    errors = refused(text)
    assert list(errors) == [""]
    assert hint in errors[""]


def test_a_deep_value_in_an_unknown_place_is_refused_by_its_place():
    errors = refused(
        json.dumps(example())[:-1] + ', "deep": ' + "[" * 500 + "]" * 500 + "}"
    )
    assert "Unknown field “deep”" in errors["/deep"]


def test_a_member_named_twice_is_refused_where_it_stands():
    text = json.dumps(example())
    text = text.replace('"corner": "SE",', '"corner": "SE", "corner": "SX",')
    text = text.replace('"depth":', '"width": "2 in", "depth":')
    errors = refused(text)
    assert "more than once" in errors["/outline/1/corner"]
    assert "more than once" in errors["/notch/width"]


@pytest.mark.parametrize("literal", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_numbers_that_are_none_are_refused_where_they_stand(literal):
    text = json.dumps(example()).replace('"value": 810.25', f'"value": {literal}')
    assert "finite" in refused(text)["/readings/1/value"]


def test_a_refusal_can_always_be_written_as_utf_8():
    document = example() | {"\ud800": 1}
    document["readings"] = [{"check": "line:\udfff", "value": "\ud800"}]
    with pytest.raises(DocumentError) as error:
        parse_building(document)
    assert len(error.value.issues) == 3
    for each in error.value.issues:
        (each.pointer + each.message).encode("utf-8")


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=6,
)


@given(data=st.data(), value=json_values)
def test_any_value_anywhere_is_read_or_refused_and_nothing_else_happens(data, value):
    document = example()
    at, path = document, []
    while True:
        steps = list(at) if isinstance(at, dict) else list(range(len(at)))
        step = data.draw(st.sampled_from(steps))
        path.append(step)
        if not isinstance(at[step], dict | list) or not at[step]:
            break
        if data.draw(st.booleans()):
            break
        at = at[step]
    at[step] = value
    with suppress(DocumentError):
        parse_building(document)


def test_a_large_document_is_read_in_seconds():
    document = example()
    document["positions"] = [
        {"mark": f"M{n}", "wall": "SW-SE", "along": f"{n} mm", "detail": "P"}
        for n in range(2000)
    ]
    document["readings"] = [
        {"id": f"{n}-{rod}", "check": f"setback:M{n}.{rod}", "value": '8 1/16"'}
        for n in range(2000)
        for rod in range(1, 5)
    ]
    text = json.dumps(document)
    start = time.perf_counter()
    assert len(parse_building_text(text).readings) == 8000
    assert time.perf_counter() - start < 10
