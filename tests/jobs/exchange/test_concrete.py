"""The concrete members of a document."""

from typing import Any

import jsonschema
import pytest

from jobs.anchor_plan.values import ConcreteSpec
from jobs.exchange.input.parser import parse_building
from jobs.exchange.published_schemas import building_schema
from jobs.plans.plan_diff import compare_plans
from tests.jobs.exchange.example import example, refusals

Document = dict[str, Any]

MATURITY = {
    "datum": "-2 degC",
    "curve": [
        {"maturity": 600, "strength": "950 psi"},
        {"maturity": 1900, "strength": "2050 psi"},
    ],
    "temperatures": [
        {"hours": 8, "temperature": "59 degF"},
        {"hours": 16.5, "temperature": "11 degC"},
    ],
    "expected": {"low": "4 degC", "likely": "9 degC", "high": "17 degC"},
}
AGE = {
    **MATURITY,
    "activation": 4900,
    "reference": "20 degC",
    "curve": [
        {"age": 24, "strength": "6 MPa"},
        {"age": 72, "strength": "12 MPa"},
    ],
}
del AGE["datum"]


def document(**concrete: Any) -> Document:
    """Return the example with members of its concrete replaced; `...` takes one out."""
    given = example()
    del given["readings"]
    for name, value in concrete.items():
        given["concrete"][name] = value
        if value is ...:
            del given["concrete"][name]
    return given


def put(maturity: Document, path: str, value: Any) -> Document:
    """Return the document with a value of its maturity replaced or (`...`) removed."""
    steps: list[Any] = [int(s) if s.isdigit() else s for s in path.split("/")]

    def changed(at: Any, way: list[Any]) -> Any:
        if not way:
            return value
        copy = list(at) if isinstance(at, list) else dict(at)
        if len(way) == 1 and value is ...:
            del copy[way[0]]
            return copy
        inside = copy[way[0]] if way[1:] else None
        copy[way[0]] = changed(inside, way[1:])
        return copy

    return document(maturity=changed(maturity, steps))


def schema_errors(given: Document) -> list[str]:
    validator = jsonschema.Draft202012Validator(building_schema())
    return [str(list(error.absolute_path)) for error in validator.iter_errors(given)]


def concrete(given: Document) -> ConcreteSpec:
    return parse_building(given).plan.concrete


def test_standard_cured_tests_keep_the_order_they_were_made_in():
    given = document(standard_cured=["26 MPa", "23.5 MPa", "3500 psi"])
    assert schema_errors(given) == []
    assert concrete(given).standard_cured == pytest.approx((26, 23.5, 24.13165))


def test_maturity_arrives_in_degrees_celsius_hours_and_megapascals():
    given = document(maturity=MATURITY)
    assert schema_errors(given) == []
    read = concrete(given).maturity
    assert read is not None
    assert (read.datum, read.activation, read.reference) == (-2.0, None, None)
    assert read.curve[1] == pytest.approx((1900, 14.134252), abs=1e-6)
    assert read.temperatures == ((8.0, pytest.approx(15)), (16.5, 11.0))
    assert read.expected == (4.0, 9.0, 17.0)


def test_equivalent_age_is_the_other_way_to_count():
    given = document(maturity=AGE)
    assert schema_errors(given) == []
    read = concrete(given).maturity
    assert read is not None
    assert (read.datum, read.activation, read.reference) == (None, 4900.0, 20.0)
    assert read.curve == ((24.0, 6.0), (72.0, 12.0))


def test_a_document_that_says_neither_has_neither():
    assert concrete(document()).standard_cured == ()
    assert concrete(document()).maturity is None


# where in the maturity, what stands there, where it is refused, a word of why, and
# whether a schema can tell
REFUSED = [
    ("datum", ..., "", "either from a “datum”", True),
    ("datum", "0", "/datum", "degC", True),
    ("datum", "400 degF", "/datum", "typing error", False),
    ("activation", 5000, "", "either from a “datum”", True),
    ("reference", "20 degC", "", "either from a “datum”", True),
    ("curve", ..., "", "“curve” is missing", True),
    ("curve", [], "/curve", "At least 2", True),
    ("curve", {}, "/curve", "must be a list", True),
    ("curve/1/maturity", 600, "/curve", "all cylinders are of one age", False),
    ("curve/1/maturity", "600", "/curve/1/maturity", "plain number", True),
    ("curve/1/maturity", 0, "/curve/1/maturity", "above 0", True),
    ("curve/1/maturity", True, "/curve/1/maturity", "not true or false", True),
    ("curve/1/maturity", 10**400, "/curve/1/maturity", "at most 1,000,000", True),
    ("curve/1/maturity", float("nan"), "/curve/1/maturity", "plain number", False),
    ("curve/1/age", 72, "/curve/1/age", "Unknown field “age”", True),
    ("curve/1/strength", 2050, "/curve/1/strength", "3000 psi", True),
    ("curve/1/strength", "0 psi", "/curve/1/strength", "greater than zero", False),
    ("temperatures", [], "/temperatures", "At least 1", True),
    ("temperatures/0/hours", -6, "/temperatures/0/hours", "above 0", True),
    ("temperatures/0/hours", "6 h", "/temperatures/0/hours", "plain number", True),
    ("temperatures/0/hours", ..., "/temperatures/0", "“hours” is missing", True),
    ("temperatures/1/temperature", 11, "/temperatures/1/temperature", "41", True),
    (
        "temperatures/1/temperature",
        "110 degC",
        "/temperatures/1/temperature",
        "from -60 to 100 degC",
        False,
    ),
    ("temperatures/1/at", "noon", "/temperatures/1/at", "Unknown field “at”", True),
    ("expected/high", ..., "/expected", "“high” is missing", True),
    ("expected/likely", "3 degC", "/expected", "between the low and the high", False),
    ("expected/likely", "18 degC", "/expected", "between the low and the high", False),
    ("expected/likely", "cool", "/expected/likely", "degC", True),
    ("weather", "fair", "/weather", "Unknown field “weather”", True),
]


@pytest.mark.parametrize(("where", "value", "pointer", "hint", "by_schema"), REFUSED)
def test_maturity_that_does_not_fit_is_refused_at_its_place(
    where, value, pointer, hint, by_schema
):
    given = put(MATURITY, where, value)
    refused = refusals(given)
    assert list(refused) == [f"/concrete/maturity{pointer}"]
    assert hint.lower() in refused[f"/concrete/maturity{pointer}"].lower()
    if by_schema:
        assert schema_errors(given)


@pytest.mark.parametrize(
    ("where", "value", "pointer"),
    [
        ("reference", ..., ""),
        ("activation", ..., ""),
        ("activation", "5000 K", "/activation"),
        ("activation", 41_500, "/activation"),  # J/mol, not over the gas constant
        ("curve/0", {"maturity": 24, "strength": "6 MPa"}, "/curve/0"),
    ],
)
def test_equivalent_age_that_does_not_fit_is_refused_at_its_place(
    where, value, pointer
):
    given = put(AGE, where, value)
    assert f"/concrete/maturity{pointer}" in refusals(given)
    assert schema_errors(given)


@pytest.mark.parametrize(
    ("value", "pointer", "hint"),
    [
        ([], "", "At least 1"),
        ("3000 psi", "", "must be a list"),
        (["3000 psi", 3000], "/1", "3000 psi"),
        (["3000 psi", "0 psi"], "/1", "greater than zero"),
        (["3000 psi", "300 mm"], "/1", "not a unit"),
    ],
)
def test_tests_that_do_not_fit_are_refused_at_their_place(value, pointer, hint):
    refused = refusals(document(standard_cured=value))
    assert list(refused) == [f"/concrete/standard_cured{pointer}"]
    assert hint in refused[f"/concrete/standard_cured{pointer}"]


def test_without_a_strength_to_judge_by_both_are_refused():
    given = document(
        specified_strength=..., standard_cured=["25 MPa"], maturity=MATURITY
    )
    assert list(refusals(given)) == [
        "/concrete/standard_cured",
        "/concrete/maturity",
    ]
    assert len(schema_errors(given)) == 2
    given["concrete"]["sufficient_strength"] = "14 MPa"
    assert list(refusals(given)) == ["/concrete/standard_cured"]
    assert len(schema_errors(given)) == 1


def test_a_revision_tells_what_became_known_of_the_concrete():
    before = parse_building(document(maturity=MATURITY)).plan
    given = put(MATURITY, "temperatures/1/hours", 40)
    given["concrete"]["standard_cured"] = ["25 MPa"]
    (change,) = compare_plans(before, parse_building(given).plan)
    assert (change.subject, change.what) == ("concrete", "changed")
    assert [each.name for each in change.differences] == [
        "standard-cured tests",
        "temperatures since placing",
    ]
