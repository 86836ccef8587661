"""A sample too strong for its age waits for a second one before it opens the gate."""

from typing import Any

import pytest

from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building
from tests import documents

Document = dict[str, Any]


def shed(*samples: tuple[str, str, str, str], **concrete: Any) -> Document:
    """The shed of 3000 psi, placed on 13 April, with these samples.

    Each is its name, strength, day of April and who reported it.
    """
    document = documents.shed()
    document["concrete"] = {
        "specified_strength": "3000 psi",
        "placed_on": "2026-04-13",
        **concrete,
    }
    document["readings"] = [
        r for r in document["readings"] if not r["check"].startswith("strength:")
    ]
    document["readings"] += [
        {
            "id": f"{name} {number}",
            "check": f"strength:{name}",
            "value": value,
            "at": f"2026-04-{day}T12:00:00Z",
            "by": by,
        }
        for number, (name, value, day, by) in enumerate(samples)
    ]
    return document


def result_of(document: Document) -> Document:
    return dict(evaluate(parse_building(document)))


def gate(*samples: tuple[str, str, str, str], **concrete: Any) -> Document:
    return dict(result_of(shed(*samples, **concrete))["concrete"])


def test_2900_psi_after_three_days_opens_the_gate():
    assert gate(("F1", "2900 psi", "16", "lab"))["verdict"] == "within"


def test_2900_psi_after_one_day_asks_for_a_second_sample():
    result = result_of(shed(("F1", "2900 psi", "14", "lab")))
    concrete = result["concrete"]
    assert concrete["verdict"] == "remeasure"
    assert concrete["ratio"] is None
    assert "2,900 psi at 1 day is more than the" in concrete["reason"]
    assert "break a second sample" in concrete["reason"]
    row = next(c for c in result["checks"] if c["check"] == "strength:F1")
    assert (row["verdict"], row["reason"]) == ("remeasure", concrete["reason"])
    (found,) = result["findings"]
    assert (found["finding"], found["checks"]) == ("strength", ["strength:F1"])
    assert found["remedies"][0]["remedy"] == "remeasure"


@pytest.mark.parametrize(
    ("second", "opens"),
    [
        (("F2", "2850 psi", "14", "other lab"), True),
        (("F2", "2850 psi", "14", "lab"), False),
        (("F1", "2850 psi", "14", "other lab"), False),
        (("F2", "1000 psi", "14", "other lab"), False),
    ],
    ids=["another person", "the same hand", "its companion", "a weak one"],
)
def test_a_second_sample_as_strong_confirms_it(
    second: tuple[str, str, str, str], opens: bool
):
    first = ("F1", "2900 psi", "14", "lab")
    assert (gate(first, second)["verdict"] == "within") is opens


def test_the_latest_day_wins_only_among_samples_that_are_believed():
    # 2350 psi at 7 days is believed; 6500 psi at 8 days on 3000 psi is not.
    concrete = gate(("F1", "2000 psi", "20", "lab"), ("F2", "6500 psi", "21", "lab"))
    assert concrete["verdict"] == "remeasure"
    assert concrete["samples"] == ["strength:F1"]
    assert "F2" in concrete["reason"]
    concrete = gate(("F1", "2350 psi", "20", "lab"), ("F2", "6500 psi", "21", "lab"))
    assert concrete["verdict"] == "within"
    assert concrete["samples"] == ["strength:F1"]


def test_the_finding_shows_the_sample_in_doubt_and_the_one_that_shuts_the_gate():
    samples = (("F1", "2000 psi", "20", "lab"), ("F2", "6500 psi", "21", "lab"))
    (found,) = result_of(shed(*samples))["findings"]
    assert found["checks"] == ["strength:F2", "strength:F1"]
    assert found["remedies"][0]["checks"] == ["strength:F2"]


def test_a_weak_later_sample_still_shuts_the_gate():
    concrete = gate(("F1", "2900 psi", "16", "lab"), ("F2", "1500 psi", "17", "lab"))
    assert concrete["verdict"] == "outside"


def test_warm_concrete_is_older_than_its_days():
    warm = {
        "curve": [
            {"maturity": 1000, "strength": "1500 psi"},
            {"maturity": 5000, "strength": "3000 psi"},
        ],
        "datum": "0 degC",
        "temperatures": [{"hours": 24, "temperature": "40 degC"}],
        "expected": {"low": "10 degC", "likely": "15 degC", "high": "20 degC"},
    }
    sample = ("F1", "2900 psi", "14", "lab")
    # a day at 40 degC is 2.97 days at 20 degC (Q = 5000 K): U = 1.33 x 3000 psi
    assert gate(sample, maturity=warm)["verdict"] == "within"
    assert gate(sample)["verdict"] == "remeasure"


@pytest.mark.parametrize("day", ["13", "12"])
def test_a_break_on_the_day_of_placing_or_before_opens_nothing(day: str):
    concrete = gate(("F1", "2900 psi", day, "lab"))
    assert concrete["verdict"] == "unmeasured"
    assert "One of the two dates is wrong" in concrete["reason"]


@pytest.mark.parametrize("unknown", ["placing", "break"])
def test_a_sample_of_unknown_age_is_believed_as_far_as_one_of_a_day(unknown: str):
    # 0.848 of 3000 psi are believed at 1 day: 2543 psi.
    for strength, verdict in (("2500 psi", "within"), ("2900 psi", "remeasure")):
        document = shed(("F1", strength, "16", "lab"))
        if unknown == "placing":
            del document["concrete"]["placed_on"]
        else:
            del document["readings"][-1]["at"]
        concrete = result_of(document)["concrete"]
        assert concrete["verdict"] == verdict
    missing = "the concrete was placed" if unknown == "placing" else "this sample was"
    assert f"Enter the day {missing}" in concrete["reason"]
    assert "2,543 psi" in concrete["reason"]


def test_a_second_person_confirms_a_sample_of_unknown_age():
    document = shed(
        ("F1", "2900 psi", "16", "lab"), ("F2", "2850 psi", "16", "other lab")
    )
    del document["concrete"]["placed_on"]
    assert result_of(document)["concrete"]["verdict"] == "within"
