"""A reading less certain than its limit is wide orders a better measurement, alone."""

from typing import Any

import pytest

from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building
from tests import documents

Document = dict[str, Any]


def coarse(document: Document, check: str = "line:A3") -> None:
    """Read a check with a tape of class III whose temperature nobody noted."""
    document["instruments"]["T3"] = {"kind": "steel tape", "class": "III"}
    reading = documents.reading_of(document, check)
    reading["instrument"] = "T3"
    del reading["temperature"]


def result_of(document: Document) -> Document:
    return dict(evaluate(parse_building(document)))


def finding(result: Document, topic: str) -> Document:
    return next(each for each in result["findings"] if each["finding"] == topic)


def row(result: Document, key: str) -> Document:
    return next(each for each in result["checks"] if each["check"] == key)


def test_a_line_known_only_to_a_quarter_inch_orders_a_better_tape_and_nothing_else():
    def change(document: Document) -> None:
        coarse(document)
        documents.off_by(document, "line:A3", 17.0)

    result = result_of(documents.shed(change))
    # OIML R 35-1 class III over 22 m: (0.6 + 0.4 x 22) / sqrt 3 = 5.4 mm, 1/8 in limit
    assert row(result, "line:A3")["uncertainty"] > 5.4
    found = finding(result, "position:A3")
    (only,) = found["remedies"]
    assert only["remedy"] == "remeasure"
    assert found["ruled_out"] == []
    # From the nearer corner a class I tape has (0.1 + 0.8) / sqrt 3 and the handling.
    assert (
        "with a tape of class I from corner SE, its temperature noted" in only["reason"]
        or "with a tape of class III from corner SE" in only["reason"]
    )
    assert row(result, "line:A3")["better_measurement"] == only["reason"]


def test_a_coarse_reading_within_its_limit_only_gets_a_note():
    result = result_of(documents.shed(coarse))
    assert row(result, "line:A3")["verdict"] == "within"
    assert "decides nothing" in row(result, "line:A3")["better_measurement"]
    assert result["findings"] == []
    assert row(result, "line:A1")["better_measurement"] is None


def test_a_rod_that_is_surely_out_keeps_its_remedies_beside_a_coarse_line():
    def change(document: Document) -> None:
        coarse(document)
        documents.off_by(document, "line:A3", 17.0)
        documents.off_by(document, "setback:A3.1", 12.0)

    found = finding(result_of(documents.shed(change)), "position:A3")
    assert found["remedies"][0]["checks"] == ["line:A3"]
    assert {"ream", "slot"} & {each["remedy"] for each in found["remedies"][1:]}


@pytest.mark.parametrize(
    ("unit", "sight"), [("in", "90\u2032"), ("mm", "30"), ("mm", "mm")]
)
def test_a_pad_levelled_from_far_asks_for_a_shorter_sight(unit: str, sight: str):
    document = documents.shed()
    document["length_unit"] = unit
    for number, reading in enumerate(document["readings"]):
        if reading["check"].startswith("level:"):
            document["readings"][number] = {**reading, "sight": "110 m"}
    documents.off_by(document, "level:B2", 16.0)
    (only,) = finding(result_of(document), "level:B2")["remedies"]
    assert only["remedy"] == "remeasure"
    # 30 m x (1/8 in / 2) / (sqrt 2 x 1 mm) = 33.7 m; no further than the level's 30 m
    assert sight in only["reason"].partition("with sights of at most")[2]


def test_where_no_tape_does_a_total_station_is_named():
    def change(document: Document) -> None:
        document["tolerances"]["overrides"] = {"line": '1/64"'}
        coarse(document)
        documents.off_by(document, "line:A2", 17.0)
        coarse(document, "line:A2")

    (only,) = finding(result_of(documents.shed(change)), "position:A2")["remedies"]
    assert "No tape does" in only["reason"]
    assert "total station" in only["reason"]
