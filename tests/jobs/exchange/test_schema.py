"""The published schemas against the parser."""

import jsonschema
import pytest

from jobs.exchange.published_schemas import building_schema, result_schema
from tests.jobs.exchange.example import changed, example, refusals
from tests.jobs.exchange.test_plan import REFUSED

RESULT = {
    "format": "padstone.result/1",
    "building": "Fern Hollow hay store",
    "evaluated_with": "padstone 0.1.0",
    "tolerances": {
        "basis": "aisc-303-2010",
        "rod_location": {"value": 4.7625, "source": "override"},
    },
    "checks": [
        {
            "check": "diagonal:SW-NE",
            "nominal": 31089.6,
            "observed": 31095.95,
            "deviation": 6.35,
            "limit": 12.9,
            "uncertainty": 3.3,
            "probability": 0.97,
            "close_to_limit": False,
            "readings": 1,
            "verdict": "within",
        },
        {
            "check": "wall:SW-SE",
            "nominal": 27432.0,
            "observed": None,
            "deviation": None,
            "limit": 11.43,
            "verdict": "unmeasured",
        },
    ],
    "squareness": {"difference": None, "verdict": "unmeasured", "corners": []},
    "positions": [{"mark": "S1", "rods": [], "plate_fit": None}],
    "levels": {
        "misclosure": 0.0,
        "pads": [
            {"mark": "S1", "height": -4.0, "verdict": "outside", "stack": ['1/8"']}
        ],
    },
    "concrete": {"ratio": 0.78, "verdict": "within"},
    "findings": [
        {
            "finding": "level:S1",
            "checks": ["level:S1"],
            "approval": "field",
            "likely_cause": None,
            "remedies": [
                {
                    "remedy": "shim",
                    "approval": "field",
                    "reason": "…",
                    "cautions": ["…"],
                    "shim": 3.175,
                }
            ],
        }
    ],
    "added_later": True,
}


def errors(schema, document):
    validator = jsonschema.Draft202012Validator(schema)
    return [
        "/" + "/".join(str(step) for step in error.absolute_path)
        for error in validator.iter_errors(document)
    ]


@pytest.mark.parametrize("schema", [building_schema(), result_schema()])
def test_the_schemas_are_schemas(schema):
    jsonschema.Draft202012Validator.check_schema(schema)


def test_what_the_parser_reads_the_schema_accepts():
    assert errors(building_schema(), example()) == []


def test_a_result_fits_and_may_say_more():
    assert errors(result_schema(), RESULT) == []


def test_an_unknown_verdict_or_remedy_does_not_fit():
    wrong = RESULT | {"concrete": {"verdict": "fine"}}
    assert errors(result_schema(), wrong) == ["/concrete"]


# What only computing can tell, or what JSON Schema has no word for.
BEYOND_A_SCHEMA = (
    "greater than zero",
    "less than zero",
    "at most 10 deg",
    "two corners named",
    "no corner",
    "twice",
    "no detail",
    "taken",
    "SW-SE, SE-NE",
    "past the end",
    "not a unit",
    "finite",
    "one line",
    "typing error",
    "not less than 1",
    "2026-03-02",
)


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        (pointer, value)
        for pointer, value, hint in REFUSED
        if not any(word in hint for word in BEYOND_A_SCHEMA)
        if value != "1/0" and value == value  # nor can it divide, nor tell a NaN
    ],
)
def test_what_can_be_said_without_computing_the_schema_refuses(pointer, value):
    assert errors(building_schema(), changed(pointer, value))


@pytest.mark.parametrize(
    "entry",
    [
        {"check": "strength:c", "value": 20.7},
        {"check": "strength:c", "value": '4 1/2"'},
        {"check": "setback:S1.1", "value": "3000 psi"},
        {"check": "setback:S1.1", "value": '4½6"'},
        {"check": "setback:S1.1", "value": "31' 14\""},
        {"check": "setback:S1.1", "value": 1.1e7},
        {"check": "setback:S1.1", "value": 8, "from": "SW"},
        {"check": "line:S1", "value": 8, "setup": "2"},
        {"check": "level:S1", "value": 8, "tension": "12 lbf"},
        {"check": "plumb:S1.in", "value": 0},
        {"check": "line:S1", "value": 8, "at": "2026-03-09T14:05"},
        {"check": "line:S1", "value": 8, "by": "crew\u0007"},
    ],
)
def test_what_a_reading_cannot_say_neither_parser_nor_schema_takes(entry):
    document = changed("/readings", [entry])
    assert errors(building_schema(), document)
    assert refusals(document)


def test_a_time_without_seconds_is_read_and_fits():
    document = changed("/readings/0/at", "2026-04-14T09:20+02:00")
    assert errors(building_schema(), document) == []
    assert refusals(document) == {}
