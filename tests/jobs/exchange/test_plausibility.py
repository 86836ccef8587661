"""Values that cannot be are refused by the one parser, at their place."""

from datetime import UTC, datetime
from typing import Any

import pytest

from jobs.exchange.input.concrete_entries import parse_concrete_entry
from jobs.exchange.input.parser import parse_building, parse_reading
from jobs.exchange.issues import DocumentError
from tests import documents

Document = dict[str, Any]
NOW = datetime(2026, 4, 28, 12, 0, tzinfo=UTC)


def issues_of(document: Document, now: datetime | None = NOW) -> dict[str, str]:
    try:
        parse_building(document, now=now)
    except DocumentError as error:
        return {issue.pointer: issue.message for issue in error.issues}
    return {}


def with_reading(check: str, value: str, **members: Any) -> Document:
    document = documents.plan()
    document["concrete"]["placed_on"] = "2026-04-13"
    document["readings"] = [{"check": check, "value": value, **members}]
    return document


@pytest.mark.parametrize(
    ("members", "pointer", "said"),
    [
        (
            {"value": "3000 MPa", "at": "2026-04-20T12:00:00Z"},
            "/readings/0/value",
            "at most 20,000 psi",
        ),
        ({"value": "0 psi"}, "/readings/0/value", "greater than zero"),
        (
            {"value": "2900 psi", "at": "2062-04-20T12:00:00Z"},
            "/readings/0/at",
            "in the future",
        ),
        (
            {"value": "2900 psi", "at": "2026-04-28T12:11:00Z"},
            "/readings/0/at",
            "in the future",
        ),
        (
            {"value": "2900 psi", "at": "2026-04-13T23:00:00Z"},
            "/readings/0/at",
            "on the day the concrete was placed",
        ),
        (
            {"value": "2900 psi", "at": "2026-04-12T12:00:00Z"},
            "/readings/0/at",
            "before the day the concrete was placed",
        ),
    ],
)
def test_a_sample_that_cannot_be_is_refused(members: Document, pointer: str, said: str):
    found = issues_of(with_reading("strength:F1", **members))
    assert list(found) == [pointer]
    assert said in found[pointer]


@pytest.mark.parametrize(
    ("check", "members", "pointer"),
    [
        ("line:A1", {"value": "24'", "temperature": "200 degF"}, "temperature"),
        ("line:A1", {"value": "24'", "temperature": "-70 degC"}, "temperature"),
        ("line:A1", {"value": "24'", "at": "2026-04-29T12:00:00Z"}, "at"),
        ("line:A1", {"value": "24'", "at": "1926-04-20T12:00:00Z"}, "at"),
        ("level:A1", {"value": "1400 in"}, "value"),
        ("level:A1", {"value": "1400 mm", "sight": "600 m"}, "sight"),
        ("plumb:A1.in", {"value": "5 mm", "height": "4 mm"}, "height"),
        ("plumb:A1.in", {"value": "5 mm", "height": "4 km"}, "height"),
        ("plumb:A1.in", {"value": "4 m", "height": "4 m"}, "value"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(
    check: str, members: Document, pointer: str
):
    assert list(issues_of(with_reading(check, **members))) == [f"/readings/0/{pointer}"]


@pytest.mark.parametrize(
    ("check", "members"),
    [
        ("strength:F1", {"value": "2900 psi", "at": "2026-04-14T00:30:00Z"}),
        ("strength:F1", {"value": "19000 psi"}),
        ("line:A1", {"value": "24'", "at": "2026-04-28T12:09:00Z"}),
        ("line:A1", {"value": "24'", "temperature": "-40 degF"}),
        ("plumb:A1.in", {"value": "2 in", "height": "20'"}),
    ],
)
def test_what_can_be_is_taken(check: str, members: Document):
    assert issues_of(with_reading(check, **members)) == {}


def test_what_is_in_the_record_is_not_compared_with_the_clock_again():
    document = with_reading("strength:F1", "2900 psi", at="2062-04-20T12:00:00Z")
    assert issues_of(document, now=None) == {}


@pytest.mark.parametrize("member", ["specified_strength", "sufficient_strength"])
def test_a_strength_of_the_plan_is_no_more_than_concrete_has(member: str):
    document = documents.plan()
    document["concrete"] = {member: "3000 MPa"}
    assert list(issues_of(document)) == [f"/concrete/{member}"]


def test_a_standard_cured_test_is_no_more_than_concrete_has():
    document = documents.plan()
    document["concrete"]["standard_cured"] = ["3300 psi", "3300 MPa"]
    assert list(issues_of(document)) == ["/concrete/standard_cured/1"]


def test_one_reading_is_held_to_the_same_rules():
    plan = parse_building(documents.plan()).plan
    entry = {"check": "line:A1", "value": "24'", "at": "2026-04-29T12:00:00Z"}
    with pytest.raises(DocumentError, match="in the future"):
        parse_reading(entry, plan, "/readings/0", now=NOW)


@pytest.mark.parametrize(
    ("entry", "pointer"),
    [
        (
            {
                "kind": "temperature",
                "at": "2026-04-29T12:00:00Z",
                "temperature": "12 degC",
                "hours": 5,
            },
            "/at",
        ),
        (
            {
                "kind": "temperature",
                "at": "2026-04-20T12:00:00Z",
                "temperature": "300 degC",
                "hours": 5,
            },
            "/temperature",
        ),
        (
            {"kind": "standard_cured", "on": "2026-04-20", "strength": "3000 MPa"},
            "/strength",
        ),
    ],
)
def test_a_concrete_entry_is_held_to_the_same_rules(entry: Document, pointer: str):
    with pytest.raises(DocumentError) as error:
        parse_concrete_entry({"id": "e", **entry}, now=NOW)
    assert [issue.pointer for issue in error.value.issues] == [pointer]


@pytest.mark.parametrize(("hours", "refused"), [(48, False), (400, True)])
def test_a_history_of_temperatures_does_not_reach_past_the_present(
    hours: int, refused: bool
):
    # The tests' present is 28 April 2026, noon: 60 h after the day of placing began.
    document = documents.plan()
    document["concrete"] = {
        "specified_strength": "3000 psi",
        "placed_on": "2026-04-26",
        "maturity": {
            "datum": "0 degC",
            "curve": [
                {"maturity": 1000, "strength": "1500 psi"},
                {"maturity": 5000, "strength": "3000 psi"},
            ],
            "temperatures": [{"hours": hours, "temperature": "15 degC"}],
            "expected": {"low": "10 degC", "likely": "15 degC", "high": "20 degC"},
        },
    }
    pointers = ["/concrete/maturity/temperatures"] if refused else []
    assert list(issues_of(document)) == pointers
    assert issues_of(document, now=None) == {}
