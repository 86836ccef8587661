"""Readings in exchange documents."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.units import format_length
from jobs.exchange.input.parser import parse_building, parse_reading
from jobs.exchange.issues import DocumentError
from tests.jobs.exchange.example import changed, example, plan, refusals

ROD = {"check": "setback:S1.1", "value": '8"'}


def with_readings(*entries):
    return example() | {"readings": list(entries)}


def read(*entries):
    return parse_building(with_readings(*entries)).readings


def test_a_reading_arrives_whole():
    (reading,) = read(example()["readings"][0])
    assert reading.id == "a1"
    assert reading.check == "diagonal:SW-NE"  # the canonical key
    assert (reading.value, reading.text) == (31095.95, "102' 1/4\"")
    assert reading.resolution == 3.175
    assert (reading.by, reading.instrument) == ("crew 4", "T1")
    assert reading.at == datetime(2026, 4, 14, 9, 20, tzinfo=UTC)
    assert reading.temperature == pytest.approx(80 / 9)  # 48 °F
    assert reading.tension == pytest.approx(53.3787, abs=1e-4)
    assert (reading.slope_rise, reading.span) == (-50.8, 15240.0)
    assert reading.note == "windy\nsecond try"
    assert reading.setup == "1"


def test_the_other_kinds_arrive_too():
    by_check = {each.check: each for each in read(*example()["readings"])}
    assert by_check["line:S1"].from_corner == "SE"
    assert by_check["line:S1"].text == "810.25 in"
    assert by_check["level:S1"].setup == "2"
    assert by_check["level:S1"].sight_distance == 12192.0
    assert by_check["level:S1"].resolution == pytest.approx(3.048)
    assert by_check["benchmark:hydrant"].value == 1105.0
    sample = by_check["strength:cylinder 3"]
    assert sample.value == pytest.approx(18.960583, abs=1e-6)
    assert sample.resolution == pytest.approx(0.006894757)
    assert sample.text == "2750 psi"
    assert by_check["plumb:S1.in"].height == pytest.approx(4267.2)
    assert by_check["plumb:S1.in"].value == -3.175


def test_a_bay_is_read_with_a_tape_and_is_a_length():
    pair = {
        "mark": "S2",
        "wall": "SW-SE",
        "along": "40'",
        "detail": "P",
    }
    document = example()
    document["positions"].append(pair)
    bay = {
        "check": "bay:S2-S1",
        "value": "17'-6 1/8\"",
        "tension": "50 N",
        "span": "17 ft",
    }
    document["readings"] = [bay]
    reading = parse_building(document).readings[0]
    assert (reading.check, reading.span) == ("bay:S1-S2", 17 * 304.8)
    document["readings"] = [
        {**bay, "value": 0},
        {**bay, "from": "SW"},
        {**bay, "check": "bay:S1-K7"},
    ]
    with pytest.raises(DocumentError) as refused:
        parse_building(document)
    assert [each.pointer for each in refused.value.issues] == [
        "/readings/0/value",
        "/readings/1/from",
        "/readings/2/check",
    ]


def test_a_bay_is_not_refused_where_a_position_could_not_be_placed():
    document = example()
    document["positions"].append({"mark": "S2", "wall": "SW-XX", "along": 40})
    document["readings"] = [{"check": "bay:S1-S2", "value": "17 ft"}]
    with pytest.raises(DocumentError) as refused:
        parse_building(document)
    assert {each.pointer.split("/")[1] for each in refused.value.issues} == {
        "positions"
    }


def test_a_reading_without_an_id_is_named_by_its_place():
    ids = [each.id for each in read(ROD, ROD, {**ROD, "id": "reading-1"})]
    assert ids == ["reading-1-bis", "reading-2", "reading-1"]


def test_one_reading_keeps_its_pointer():
    reading = parse_reading(ROD, plan(), "/entries/4")
    assert reading.id == "reading-5"
    with pytest.raises(DocumentError) as refused:
        parse_reading({"check": "setback:S1.9", "value": True}, plan(), "/entries/4")
    assert [each.pointer for each in refused.value.issues] == [
        "/entries/4/check",
        "/entries/4/value",
    ]


def test_the_same_reading_sent_twice_is_one():
    entry = {**ROD, "id": "x"}
    assert len(read(entry, entry)) == 1
    assert len(read(entry, {**entry, "check": " setback:S1.1 "})) == 1


@pytest.mark.parametrize(
    "change", [{"value": '8 1/8"'}, {"value": "8 in"}, {"by": "crew 2"}, {"note": "!"}]
)
def test_one_id_for_two_readings_is_refused(change):
    entry = {**ROD, "id": "x"}
    refused = refusals(with_readings(entry, {**entry, **change}))
    assert list(refused) == ["/readings/1/id"]
    assert "/readings/0" in refused["/readings/1/id"]


@pytest.mark.parametrize(
    ("entry", "member", "hint"),
    [
        ({"value": '8"'}, "", "“check” is missing"),
        ({"check": "setback:S1.1"}, "", "“value” is missing"),
        ({**ROD, "check": "setback:S9.1"}, "check", "S1, K7"),
        ({**ROD, "check": 4}, "check", "must be text"),
        ({**ROD, "check": ""}, "check", "cannot be empty"),
        ({**ROD, "value": "8"}, "value", "no unit"),
        ({**ROD, "value": True}, "value", "true or false"),
        ({**ROD, "value": None}, "value", "null"),
        ({**ROD, "value": '-8"'}, "value", "less than zero"),
        ({**ROD, "value": "8 psi"}, "value", "not a length"),
        ({"check": "wall:SW-SE", "value": 0}, "value", "greater than zero"),
        ({"check": "diagonal:SW-NE", "value": -1}, "value", "greater than zero"),
        ({"check": "gage:S1.1-2", "value": 0}, "value", "greater than zero"),
        ({"check": "line:S1", "value": -1}, "value", "less than zero"),
        ({"check": "projection:S1.1", "value": -1}, "value", "less than zero"),
        ({"check": "level:S1", "value": -1}, "value", "less than zero"),
        ({"check": "benchmark:B", "value": -1}, "value", "less than zero"),
        ({"check": "notch_depth:SW-SE", "value": -1}, "value", "less than zero"),
        ({"check": "strength:A", "value": 2800}, "value", "3000 psi"),
        ({"check": "strength:A", "value": "2800"}, "value", "3000 psi"),
        ({"check": "strength:A", "value": "28 mm"}, "value", "not a unit"),
        ({"check": "strength:A", "value": "-5 MPa"}, "value", "greater than zero"),
        ({**ROD, "colour": 1}, "colour", "the fields here are"),
        ({**ROD, "id": ""}, "id", "cannot be empty"),
        ({**ROD, "id": 7}, "id", "must be text"),
        ({**ROD, "id": "x" * 65}, "id", "longer than 64"),
        ({**ROD, "at": "2026-04-14T09:20:00"}, "at", "no time zone"),
        ({**ROD, "at": "2026-04-14"}, "at", "with its time zone"),
        ({**ROD, "at": "2026-04-31T09:20:00Z"}, "at", "with its time zone"),
        ({**ROD, "at": "0001-01-01T00:00:00+05:00"}, "at", "with its time zone"),
        ({**ROD, "at": 1776158400}, "at", "with its time zone"),
        ({**ROD, "instrument": "T9"}, "instrument", "the instruments are T1, L1"),
        ({**ROD, "temperature": 41}, "temperature", "41 degF"),
        ({**ROD, "temperature": "-500 degF"}, "temperature", "absolute zero"),
        ({**ROD, "tension": "0 N"}, "tension", "greater than zero"),
        ({**ROD, "span": 0}, "span", "greater than zero"),
        ({**ROD, "from": "SW"}, "from", "belongs to readings of a line"),
        ({**ROD, "height": "9'"}, "height", "belongs to readings of plumb"),
        (
            {**ROD, "setup": "2"},
            "setup",
            "belongs to readings of a level or a benchmark",
        ),
        (
            {**ROD, "sight": "9'"},
            "sight",
            "belongs to readings of a level or a benchmark",
        ),
        (
            {"check": "level:S1", "value": 50, "slope_rise": 1},
            "slope_rise",
            "readings of a taped length",
        ),
        ({"check": "level:S1", "value": 50, "setup": 2}, "setup", "must be text"),
        ({"check": "level:S1", "value": 50, "setup": ""}, "setup", "cannot be empty"),
        ({"check": "line:S1", "value": 5, "from": "NE"}, "from", "SW or SE"),
        ({"check": "plumb:S1.in", "value": 1}, "", "needs “height”"),
        ({"check": "plumb:S1.in", "value": 1, "height": 0}, "height", "greater"),
        ({**ROD, "supersedes": "nobody"}, "supersedes", "no reading nobody"),
        ({**ROD, "note": "n" * 2001}, "note", "at most 2000"),
        ({**ROD, "note": "\x00"}, "note", "cannot be printed"),
        ({**ROD, "by": "\ud800"}, "by", "one line"),
    ],
)
def test_a_refused_reading_says_where_and_why(entry, member, hint):
    refused = refusals(with_readings(entry))
    pointer = f"/readings/0/{member}".rstrip("/")
    assert list(refused) == [pointer]
    assert hint in refused[pointer]


@pytest.mark.parametrize("entry", [None, 4, "x", []])
def test_a_reading_is_an_object(entry):
    assert "must be an object" in refusals(with_readings(entry))["/readings/0"]


def test_what_may_be_negative_or_zero_may_be():
    entries = [
        {"check": "offset:S1.1", "value": '-2"'},
        {"check": "plumb:S1.along", "value": '-1/8"', "height": "10'"},
        {"check": "setback:K7.1", "value": '-1"'},  # at a point
        {"check": "line:S1", "value": 0},
        {"check": "projection:S1.1", "value": 0},
        {"check": "notch_width:SW-SE", "value": 0},
    ]
    assert [each.value for each in read(*entries)] == [-50.8, -3.175, -25.4, 0, 0, 0]


@pytest.mark.parametrize(
    "text",
    ["2026-04-14T09:20:00Z", "2026-04-14T11:20:00+02:00", "2026-04-14t09:20:00.000z"],
)
def test_a_moment_is_one_moment_in_any_zone(text):
    (reading,) = read({**ROD, "at": text})
    assert reading.at == datetime(2026, 4, 14, 9, 20, tzinfo=UTC)
    assert reading.at.utcoffset() in (timedelta(0), timedelta(hours=2))


# ---- corrections ----


def chain(*links):
    return [
        {**ROD, "id": new} | ({"supersedes": old} if old else {}) for new, old in links
    ]


def test_a_correction_of_a_correction_is_read():
    assert len(read(*chain(("a", None), ("b", "a"), ("c", "b")))) == 3
    assert len(read(*chain(("b", "a"), ("a", None)))) == 2  # in any order


def test_a_reading_is_replaced_once():
    refused = refusals(with_readings(*chain(("a", None), ("b", "a"), ("c", "a"))))
    assert list(refused) == ["/readings/2/supersedes"]
    assert "replaced by b already" in refused["/readings/2/supersedes"]


def test_a_reading_replaces_one_of_the_same_check():
    first, second = chain(("a", None), ("b", "a"))
    refused = refusals(with_readings(first, {**second, "check": "setback:S1.2"}))
    assert "of the same check" in refused["/readings/1/supersedes"]


@pytest.mark.parametrize(
    "links",
    [[("a", "a")], [("a", "b"), ("b", "a")], [("a", "c"), ("b", "a"), ("c", "b")]],
)
def test_readings_do_not_replace_each_other_in_a_circle(links):
    refused = refusals(with_readings({**ROD, "id": "z"}, *chain(*links)))
    assert len(refused) == 1
    assert "in a circle" in next(iter(refused.values()))


def test_a_long_chain_of_corrections_is_followed():
    links = [("r0", None), *((f"r{n}", f"r{n - 1}") for n in range(1, 3000))]
    assert len(read(*chain(*links))) == 3000


def test_a_refused_reading_draws_no_second_error_after_it():
    first, second = chain(("a", None), ("b", "a"))
    refused = refusals(with_readings({**first, "check": "setback:S9.1"}, second))
    assert list(refused) == ["/readings/0/check"]


# ---- any unit ----


@given(st.integers(1, 64 * 1200))
def test_a_reading_means_the_same_in_every_way_of_writing_it(sixty_fourths):
    one = plan()
    mm = sixty_fourths * 0.396875
    values = {
        parse_reading({"check": "setback:S1.1", "value": value}, one).value
        for value in (
            format_length(mm, "imperial", 64),
            format_length(mm, "inches", 64),
            f"{sixty_fourths / 64} in",
            sixty_fourths / 64,
            f"{mm:.6f} mm",
        )
    }
    assert values == {float(f"{mm:.6f}")}


def test_a_bare_reading_is_in_the_unit_of_the_plan():
    document = changed("/length_unit", "cm")
    document["outline"] = [
        {"corner": name, "x": x, "y": y}
        for name, x, y in (
            ("SW", 0, 0),
            ("SE", 2743.2, 0),
            ("NE", 2743.2, 1463.04),
            ("NW", 0, 1463.04),
        )
    ]
    document["readings"] = [{"check": "setback:S1.1", "value": 20.4}]
    assert parse_building(document).readings[0].value == 204.0
