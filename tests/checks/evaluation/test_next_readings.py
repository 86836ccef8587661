"""What to read next, and the second reading of a check near its limit."""

from typing import Any

import pytest

from tests.published.contract import (
    SQUARE,
    building,
    check,
    evaluate_document,
    read,
    read_rods,
)

Document = dict[str, Any]

TAPES = {
    "T": {"kind": "steel tape", "class": "II"},
    "T2": {"kind": "steel tape", "class": "II"},
    "L": {"kind": "optical level"},
}
LINES = {"S": 8000.0, "E": 7000.0, "N": 9000.0, "W": 6000.0}
OUTLINE = {
    "diagonal:A-C": 28301.94,
    "diagonal:B-D": 28301.94,
    "wall:A-B": 24000.0,
    "wall:B-C": 15000.0,
    "wall:C-D": 24000.0,
    "wall:D-A": 15000.0,
}


def read_hall(document: Document, off: dict[str, float] | None = None) -> Document:
    """Read everything of the foundation once, with tape T and without a temperature."""
    off = off or {}
    for key, length in OUTLINE.items():
        read(document, key, f"{length + off.get(key, 0.0):.1f} mm", instrument="T")
    for mark, along in LINES.items():
        value = f"{along + off.get(f'line:{mark}', 0.0):.1f} mm"
        read(document, f"line:{mark}", value, instrument="T")
    for mark in LINES:
        read_rods(document, mark, list(SQUARE))
        for rod in range(1, 5):
            read(document, f"projection:{mark}.{rod}", 90, instrument="T")
    return document


def hall(off: dict[str, float] | None = None) -> Document:
    return read_hall(building(instruments=TAPES), off)


def next_readings(document: Document) -> list[Document]:
    return list(evaluate_document(document)["next_readings"])


def test_a_line_at_its_limit_is_read_next_with_the_other_tape() -> None:
    result = evaluate_document(hall({"line:S": 3.0}))
    first = result["next_readings"][0]
    assert first["check"] == "line:S"
    assert (first["kind"], first["instrument"]) == ("other_tape", "T2")
    assert first["conclusion"] == "line:S"
    assert first["before"] - first["after"] >= 0.05
    assert "T2" in first["reason"]
    assert first["reason"].count(".") - first["reason"].count("%") <= 1
    line = check(result, "line:S")
    assert line["close_to_limit"]
    assert line["second_reading"]["kind"] == "other_tape"
    assert line["second_reading"]["before"] == pytest.approx(first["before"])


def test_far_from_every_limit_nothing_is_worth_reading_again() -> None:
    # one setback out by an inch is certain, and everything else is as planned
    document = building(
        instruments=TAPES,
        positions=[{"mark": "S", "wall": "A-B", "along": 1000, "detail": "Q"}],
    )
    for key, length in OUTLINE.items():
        read(document, key, f"{length} mm", instrument="T", temperature="20 degC")
    read(document, "line:S", 1000, instrument="T", temperature="20 degC")
    read_rods(document, "S", [*SQUARE[:3], (60.0, 270.0 + 25.4)])
    for rod in range(1, 5):
        read(document, f"projection:S.{rod}", 90, instrument="T")
    result = evaluate_document(document)
    assert result["next_readings"] == []
    assert not any(each["close_to_limit"] for each in result["checks"])
    assert check(result, "setback:S.4")["verdict"] == "outside"


def test_what_is_required_and_not_read_comes_first_in_the_order_of_the_plan() -> None:
    document = hall({"line:S": 3.0})
    missing = {"wall:C-D", "line:W", "projection:N.2"}
    document["readings"] = [
        each for each in document["readings"] if each["check"] not in missing
    ]
    found = next_readings(document)
    assert [each["check"] for each in found[:3]] == [
        "wall:C-D",
        "line:W",
        "projection:N.2",
    ]
    assert {each["kind"] for each in found[:3]} == {"unread"}
    assert found[0]["before"] == 0.5
    assert found[0]["reason"] == "Wall C to D is not measured yet."


def test_pads_are_not_asked_for_before_a_level_was_set_up() -> None:
    document = hall()
    del document["readings"][0]  # one reading short
    assert [each["check"] for each in next_readings(document)] == ["diagonal:A-C"]
    document["readings"].append(
        {"id": "pad", "check": "level:S", "value": 1500, "instrument": "L"}
    )
    keys = [each["check"] for each in next_readings(document)]
    assert keys == ["diagonal:A-C", "level:E", "level:N", "level:W"]


def test_a_reading_with_the_other_tape_tells_of_every_line_of_the_first() -> None:
    off = {"line:S": 2.5, "line:N": 2.5, "line:W": 2.0}
    before = evaluate_document(hall(off))
    document = hall(off)
    # the other tape reads the same on a wall: the first is right
    read(document, "wall:A-B", "24000.0 mm", instrument="T2", temperature="20 degC")
    after = evaluate_document(document)
    line = check(before, "line:N")
    assert line["second_reading"]["before"] > 0.15
    again = check(after, "line:N")["second_reading"]
    assert again is None or again["before"] < line["second_reading"]["before"]
    assert {each["kind"] for each in before["next_readings"]} == {"other_tape"}
    assert "other_tape" not in {each["kind"] for each in after["next_readings"]}
    # the verdict and its probability stay those of the line's own readings
    assert check(after, "line:N")["probability"] == line["probability"]


def test_a_verdict_that_the_other_tape_contradicts_asks_for_a_second_reading() -> None:
    # 5 mm long on the wall by T, as T2 says: the line, long by 4 mm, is probably within
    off = {"wall:A-B": 6.0, "line:S": 4.0}
    document = hall(off)
    read(document, "wall:A-B", "24000.0 mm", instrument="T2", temperature="20 degC")
    line = check(evaluate_document(document), "line:S")
    assert line["verdict"] == "outside"
    assert line["second_reading"]["before"] > 0.5


def test_contradictory_readings_are_not_on_the_list() -> None:
    document = hall({"line:S": 3.0})
    read(document, "line:S", 8303, instrument="T")
    result = evaluate_document(document)
    assert check(result, "line:S")["verdict"] == "remeasure"
    assert not check(result, "line:S")["close_to_limit"]
    assert "line:S" not in [each["check"] for each in result["next_readings"]]


def test_the_list_does_not_depend_on_the_order_of_the_readings() -> None:
    document = hall({"line:S": 3.0, "line:E": -2.5, "setback:S.1": 2.0})
    straight = next_readings(document)
    document["readings"].reverse()
    assert next_readings(document) == straight
    assert straight


def test_diagonals_near_their_difference_are_read_next() -> None:
    # limit of the difference: 1/4 in per 50 ft of 28.3 m, so 11.8 mm
    found = next_readings(hall({"diagonal:A-C": 5.7, "diagonal:B-D": -5.7}))
    assert "squareness" in {each["conclusion"] for each in found}
    first = next(each for each in found if each["conclusion"] == "squareness")
    assert first["check"].startswith("diagonal:")
    # what the tape has in common cancels in the difference: it may be the same tape
    assert first["kind"] == "repeat"


def test_guarded_acceptance_asks_where_the_guard_band_ends() -> None:
    # within the limit by 2.2 mm, u = 0.76: certain without a guard band, open with one
    off = {"setback": 1.8}
    for guarded, close in ((False, False), (True, True)):
        document = building(instruments=TAPES, tolerances={"guarded": guarded})
        read(document, "setback:S.1", 150.0 + off["setback"], temperature="20 degC")
        found = check(evaluate_document(document), "setback:S.1")
        assert found["close_to_limit"] == close


def test_a_finding_has_the_probability_of_its_worst_check_and_a_second_reading() -> (
    None
):
    result = evaluate_document(hall({"line:S": 3.6}))
    (finding,) = result["findings"]
    assert finding["worst_check"] == "line:S"
    assert finding["probability"] == check(result, "line:S")["probability"]
    assert finding["second_reading"] == {
        "check": "line:S",
        **check(result, "line:S")["second_reading"],
    }


def test_a_finding_that_is_certain_has_no_second_reading() -> None:
    document = hall()
    for each in document["readings"]:
        if each["check"] == "setback:S.4":
            each["value"] = "282 mm"
    result = evaluate_document(document)
    finding = next(f for f in result["findings"] if "setback:S.4" in f["checks"])
    assert finding["worst_check"] == "setback:S.4"
    assert finding["probability"] < 1e-6
    assert finding["second_reading"] is None


def bay_hall(
    first: float, second: float, *, misread: float = 2.0, **reading: Any
) -> Document:
    """Build two columns of one bay, the line of each off and away from the other.

    Every verdict is within on its own, while the plates go on together only just.
    """
    document = building(
        instruments=TAPES,
        positions=[
            {"mark": "P1", "wall": "A-B", "along": first, "detail": "Q"},
            {"mark": "P2", "wall": "A-B", "along": second, "detail": "Q"},
        ],
    )
    document["details"]["Q"]["plate"]["hole_diameter"] = "21 mm"
    for key, length in OUTLINE.items():
        read(document, key, f"{length} mm", instrument="T", temperature="20 degC")
    for mark, along in (("P1", first - misread), ("P2", second + misread)):
        read(document, f"line:{mark}", f"{along:.2f} mm", instrument="T", **reading)
        read_rods(document, mark, list(SQUARE))
        for rod in range(1, 5):
            read(document, f"projection:{mark}.{rod}", 90, instrument="T")
    return document


def readings_for_fit_up(document: Document) -> list[Document]:
    found = next_readings(document)
    return [each for each in found if each["conclusion"] == "fit_up"]


def test_a_reading_may_be_worth_taking_for_the_fit_up_alone() -> None:
    document = bay_hall(1000.0, 2000.0, temperature="20 degC")
    result = evaluate_document(document)
    assert abs(result["fit_up"]["misfit"]) < 1.5
    about = readings_for_fit_up(document)
    assert {each["check"] for each in about} <= {"bay:P1-P2", "line:P1", "line:P2"}
    assert about[0]["before"] - about[0]["after"] >= 0.05
    assert "the conclusion on fit-up" in about[0]["reason"]
    assert about[0]["gain"] >= 5.0 * (about[0]["before"] - about[0]["after"]) - 1e-9


def test_an_undecided_fit_up_with_long_lines_is_advised_its_bay() -> None:
    document = bay_hall(16000.0, 22000.0)
    result = evaluate_document(document)
    assert abs(result["fit_up"]["misfit"]) < 1.5
    about = readings_for_fit_up(document)
    first = about[0]
    assert first["check"] == "bay:P1-P2"
    assert (first["kind"], first["instrument"]) == ("direct", None)
    assert first["before"] - first["after"] >= 0.05
    assert first["reason"].startswith("The bay P1 to P2 read directly, line to line:")
    assert first["gain"] > 1.3 * about[1]["gain"]


def test_a_bay_that_was_read_is_state_and_is_not_asked_for_again() -> None:
    document = bay_hall(16000.0, 22000.0)
    (before, *_) = readings_for_fit_up(document)
    read(document, "bay:P1-P2", "6003.5 mm", instrument="T")
    after = readings_for_fit_up(document)
    assert "direct" not in {each["kind"] for each in after}
    assert all(each["before"] < before["before"] for each in after)
    document["readings"].reverse()
    assert readings_for_fit_up(document) == after


def test_a_bay_that_was_read_moves_the_chances_of_its_lines() -> None:
    # Line P2 is 2.9 mm long and nearly outside; the bay says that it is less.
    chances = []
    for bay in (None, "6000.5 mm"):
        document = bay_hall(16000.0, 22000.0, misread=0.0, temperature="20 degC")
        for each in document["readings"]:
            if each["check"] == "line:P2":
                each["value"] = "22002.9 mm"
        if bay:
            read(document, "bay:P1-P2", bay, instrument="T", temperature="20 degC")
        found = [e for e in next_readings(document) if e["conclusion"] == "line:P2"]
        chances.append(found[0]["before"] if found else 0.0)
    assert chances[0] > 0.4
    assert chances[1] < chances[0] - 0.05


def test_a_hall_is_advised_the_span_that_fit_up_takes_as_planned() -> None:
    document = building(
        instruments=TAPES,
        positions=[
            {"mark": "P1", "wall": "A-B", "along": 8000.0, "detail": "Q"},
            {"mark": "P2", "wall": "C-D", "along": 16000.0, "detail": "Q"},
        ],
    )
    document["details"]["Q"]["plate"]["hole_diameter"] = "21 mm"
    for key, length in OUTLINE.items():
        read(document, key, f"{length} mm", instrument="T", temperature="20 degC")
    for mark, along in (("P1", 8000.0), ("P2", 16000.0)):
        read(document, f"line:{mark}", along, instrument="T", temperature="20 degC")
        # both columns inward by the same, so that the span is short
        read_rods(document, mark, [(a, i + 2.2) for a, i in SQUARE])
    found = readings_for_fit_up(document)
    assert found[0]["check"] == "span:P1-P2"
    assert found[0]["kind"] == "direct"
    assert "across the frame" in found[0]["reason"]
    read(document, "span:P1-P2", "15000 mm", instrument="T", temperature="20 degC")
    assert "direct" not in {each["kind"] for each in readings_for_fit_up(document)}


def test_no_bay_is_asked_for_where_there_is_no_fit_up() -> None:
    document = bay_hall(16000.0, 22000.0)
    del document["details"]["Q"]["plate"]
    result = evaluate_document(document)
    assert result["fit_up"] is None
    assert "direct" not in {each["kind"] for each in result["next_readings"]}


def test_a_repeat_names_the_verdict_of_another_check() -> None:
    found = next_readings(hall({"line:S": 3.0, "line:N": 3.0}))
    for each in found:
        if each["conclusion"] not in (each["check"], "fit_up", "squareness"):
            assert "the verdict on the " in each["reason"]
