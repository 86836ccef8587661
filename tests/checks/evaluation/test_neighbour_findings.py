"""Bays and spans: verdicts in any unit, what explains them, and what is proposed."""

import pytest

from checks.evaluation.evaluate import evaluate
from core.units import format_length
from jobs.exchange.input.parser import parse_building
from tests.documents import Document, off_by, plan, read_perfectly

BAY_MM, SPAN_MM = 24 * 304.8, 64 * 304.8
LIMIT_MM = 3.175  # 1/8 in


def result_of(document: Document) -> Document:
    return dict(evaluate(parse_building(document)))


def read(document: Document, check: str, value: str, **members: str) -> Document:
    """The document with one more reading, by the class I tape at 20 degC."""
    number = len(document["readings"])
    document["readings"].append(
        {
            "id": f"n{number}",
            "check": check,
            "value": value,
            "instrument": "T1",
            "temperature": "20 degC",
        }
        | members
    )
    return document


def read_mm(document: Document, check: str, mm: float) -> Document:
    return read(document, check, f"{mm:.6f} mm")


def check_of(result: Document, key: str) -> Document:
    return next(each for each in result["checks"] if each["check"] == key)


def finding_of(result: Document, topic: str) -> Document:
    return next(each for each in result["findings"] if each["finding"] == topic)


def topics(result: Document) -> list[str]:
    return [each["finding"] for each in result["findings"]]


@pytest.mark.parametrize(
    ("check", "within", "outside"),
    [
        ("bay:A1-A2", "24'-0 1/8\"", "24'-0 9/64\""),
        ("bay:A1-A2", "23'-11 7/8\"", "23'-11 55/64\""),
        ("bay:A1-A2", "24.010416667 ft", "24.0105 ft"),
        ("bay:A1-A2", "23.989583333 ft", "23.9895 ft"),
        ("bay:A1-A2", "7318.375 mm", "7318.376 mm"),
        ("bay:A1-A2", "7312.025 mm", "7312.024 mm"),
        ("span:A1-B3", "64'-0 1/8\"", "64'-0 9/64\""),
        ("span:A1-B3", "64.010416667 ft", "64.0105 ft"),
        ("span:A1-B3", "19510.375 mm", "19510.376 mm"),
        ("span:B3-A1", "19504.025 mm", "19504.024 mm"),
    ],
)
def test_an_eighth_of_an_inch_is_within_in_any_unit(check, within, outside):
    good = result_of(read(plan(), check, within))["checks"]
    bad = result_of(read(plan(), check, outside))["checks"]
    assert [each["verdict"] for each in good if each["readings"]] == ["within"]
    assert [each["verdict"] for each in bad if each["readings"]] == ["outside"]


def test_a_bay_is_listed_only_where_it_was_read_and_names_its_positions():
    result = result_of(read_mm(plan(), "bay:A2-A1", BAY_MM + 1.0))
    pairs = [each for each in result["checks"] if each["kind"] in ("bay", "span")]
    assert [each["check"] for each in pairs] == ["bay:A1-A2"]
    assert pairs[0]["marks"] == ["A1", "A2"]
    assert pairs[0]["mark"] is None
    assert pairs[0]["required"] is False
    assert pairs[0]["deviation"] == pytest.approx(1.0)
    assert pairs[0]["limit"] == pytest.approx(LIMIT_MM)
    assert "marks" not in check_of(result, "line:A1")


def test_a_building_can_set_its_own_limit():
    document = plan()
    document["tolerances"]["overrides"] = {"bay": '1/4"', "span": "2 mm"}
    read_mm(document, "bay:A1-A2", BAY_MM + 6.0)
    read_mm(document, "span:A1-B3", SPAN_MM + 2.5)
    result = result_of(document)
    assert check_of(result, "bay:A1-A2")["verdict"] == "within"
    assert check_of(result, "span:A1-B3")["verdict"] == "outside"


def test_the_tape_corrects_a_bay_like_any_length():
    # 11.6e-6 per degree: 24 ft at 40 degC read with a tape right at 20 degC.
    document = read(plan(), "bay:A1-A2", f"{BAY_MM} mm", temperature="40 degC")
    check = check_of(result_of(document), "bay:A1-A2")
    assert check["correction"] == pytest.approx(BAY_MM * 11.6e-6 * 20)
    assert check["uncertainty"] > 0


def test_a_bay_that_its_line_explains_is_no_second_finding():
    document = read_perfectly(plan())
    off_by(document, "line:A2", 9.0)
    read_mm(document, "bay:A1-A2", BAY_MM + 9.2)
    read_mm(document, "bay:A2-A3", BAY_MM - 8.9)
    result = result_of(document)
    assert check_of(result, "bay:A1-A2")["verdict"] == "outside"
    assert topics(result)[0] == "position:A2"
    assert not [topic for topic in topics(result) if topic.startswith("bay")]
    listed = finding_of(result, "position:A2")["checks"]
    assert listed[-2:] == ["bay:A1-A2", "bay:A2-A3"]


def test_a_bay_that_contradicts_a_failing_line_asks_to_read_both_again():
    # The line is 9 mm off, the bays beside it are as planned: the line was misread.
    document = read_perfectly(plan())
    off_by(document, "line:A2", 9.0)
    read_mm(document, "bay:A1-A2", BAY_MM + 0.3)
    read_mm(document, "bay:A2-A3", BAY_MM - 0.2)
    result = result_of(document)
    assert topics(result)[0] == "position:A2"
    assert not [topic for topic in topics(result) if topic.startswith("bay")]
    first = finding_of(result, "position:A2")["remedies"][0]
    assert first["remedy"] == "remeasure"
    assert first["checks"] == ["line:A1", "line:A2", "bay:A1-A2"]
    assert "contradict each other" in first["reason"]


def test_a_failing_bay_between_good_lines_asks_for_the_lines_first():
    document = read_perfectly(plan())
    read_mm(document, "bay:A1-A2", BAY_MM - 12.7)
    result = result_of(document)
    assert topics(result) == ["bay:A1-A2"]
    first, second = finding_of(result, "bay:A1-A2")["remedies"]
    assert first["remedy"] == "remeasure"
    assert first["checks"] == ["line:A1", "line:A2", "bay:A1-A2"]
    assert "one of these readings is wrong" in first["reason"]
    assert second["remedy"] == "refer"
    assert second["why_second"]


def test_lines_within_that_add_up_against_a_bay_are_left_to_the_engineer():
    document = read_perfectly(plan())
    off_by(document, "line:A1", 3.0)
    off_by(document, "line:A2", -3.0)
    read_mm(document, "bay:A1-A2", BAY_MM - 6.1)
    result = result_of(document)
    assert topics(result) == ["bay:A1-A2"]
    remedies = finding_of(result, "bay:A1-A2")["remedies"]
    assert [each["remedy"] for each in remedies] == ["refer"]
    assert remedies[0]["deviation"] == pytest.approx(-6.1)
    assert "too short" in remedies[0]["reason"]


def test_a_failing_bay_whose_lines_nobody_read_asks_for_them():
    result = result_of(read_mm(plan(), "bay:A1-A2", BAY_MM + 8.0))
    first = finding_of(result, "bay:A1-A2")["remedies"][0]
    assert first["remedy"] == "remeasure"
    assert first["checks"] == ["line:A1", "line:A2"]


def test_a_foot_misread_in_a_bay_is_named():
    document = read_perfectly(plan())
    read_mm(document, "bay:A1-A2", BAY_MM + 304.8)
    finding = finding_of(result_of(document), "bay:A1-A2")
    assert finding["likely_cause"]["cause"] == "misread"
    assert finding["remedies"][0]["remedy"] == "remeasure"


def test_an_inch_is_named_only_where_the_lines_say_otherwise():
    document = read_perfectly(plan())
    read_mm(document, "bay:A1-A2", BAY_MM - 25.4)
    finding = finding_of(result_of(document), "bay:A1-A2")
    assert finding["likely_cause"]["explanation"].startswith(
        "The bay A1 to A2 is one inch short."
    )
    # Both say an inch: the column stands there.
    off_by(document, "line:A2", -25.4)
    causes = [each["likely_cause"] for each in result_of(document)["findings"]]
    assert causes == [None]


def test_a_span_that_the_outline_explains_is_no_second_finding():
    # The whole building is 16 mm wider than planned, and so is every frame.
    document = read_perfectly(plan())
    for wall in ("wall:SE-NE", "wall:NW-SW"):
        off_by(document, wall, 16.0)
    wide = ((96 * 304.8) ** 2 + (64 * 304.8 + 16.0) ** 2) ** 0.5
    long = wide - ((96 * 304.8) ** 2 + (64 * 304.8) ** 2) ** 0.5
    for diagonal in ("diagonal:SW-NE", "diagonal:SE-NW"):
        off_by(document, diagonal, long)
    read_mm(document, "span:A1-B3", SPAN_MM + 16.0)
    result = result_of(document)
    assert check_of(result, "span:A1-B3")["verdict"] == "outside"
    assert not [topic for topic in topics(result) if topic.startswith("span")]
    assert [each for each in result["findings"] if "span:A1-B3" in each["checks"]]


def test_a_span_off_in_a_good_outline_is_a_finding_of_its_own():
    document = read_perfectly(plan())
    read_mm(document, "span:A1-B3", SPAN_MM + 40.0)
    result = result_of(document)
    assert topics(result) == ["span:A1-B3"]
    first = finding_of(result, "span:A1-B3")["remedies"][0]
    assert first["remedy"] == "remeasure"
    assert "walls and diagonals" in first["reason"]


def test_a_bay_between_points_is_read_twice_before_anything_is_decided():
    document = plan()
    document["positions"] += [
        {"mark": f"K{n}", "x": x, "y": "30'", "turn": "0 deg", "detail": "M"}
        for n, x in ((1, "20'"), (2, "40'"))
    ]
    read_mm(document, "bay:K1-K2", 20 * 304.8 + 5.0)
    first, *_ = finding_of(result_of(document), "bay:K1-K2")["remedies"]
    assert first["remedy"] == "remeasure"
    read_mm(document, "bay:K1-K2", 20 * 304.8 + 5.1)
    finding = finding_of(result_of(document), "bay:K1-K2")
    assert [each["remedy"] for each in finding["remedies"]] == ["refer"]


def test_repeats_of_a_bay_that_contradict_each_other_are_read_again():
    document = read_perfectly(plan())
    read_mm(document, "bay:A1-A2", BAY_MM)
    read_mm(document, "bay:A1-A2", BAY_MM + 40.0)
    result = result_of(document)
    assert check_of(result, "bay:A1-A2")["verdict"] == "remeasure"
    first = finding_of(result, "bay:A1-A2")["remedies"][0]
    assert (first["remedy"], first["checks"]) == ("remeasure", ["bay:A1-A2"])


def test_a_bay_is_written_in_the_units_of_the_building():
    document = read_perfectly(plan())
    read(document, "bay:A1-A2", format_length(BAY_MM + 12.7, "imperial", 64))
    reason = finding_of(result_of(document), "bay:A1-A2")["remedies"][0]["reason"]
    assert reason.startswith(
        "The bay A1 to A2 is 1\N{FRACTION SLASH}2\N{DOUBLE PRIME} too long."
    )


def test_findings_stay_in_the_order_of_the_walk():
    document = read_perfectly(plan())
    off_by(document, "setback:A1.1", 9.0)
    off_by(document, "notch_width:SW-SE", 20.0)
    read_mm(document, "bay:A2-A3", BAY_MM - 12.7)
    assert topics(result_of(document)) == [
        "position:A1",
        "bay:A2-A3",
        "notch_width:SW-SE",
    ]
