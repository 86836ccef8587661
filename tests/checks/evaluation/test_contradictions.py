"""Readings that contradict each other: nothing is solved or drawn from them."""

import math

import pytest

from tests.bench import outline_errors
from tests.published.contract import (
    DIAGONAL,
    FOOT,
    LENGTH,
    WIDTH,
    Document,
    building,
    check,
    evaluate_document,
    finding,
    read,
    topics,
)

WALLS = {"A-B": LENGTH, "B-C": WIDTH, "C-D": LENGTH, "D-A": WIDTH}


def outlined(**off: float) -> Document:
    """Every wall and diagonal as planned, plus what each is off. [mm]"""
    document = building()
    for name, length in WALLS.items():
        value = length + off.get(name.replace("-", ""), 0.0)
        read(document, f"wall:{name}", f"{value:.4f} mm")
    for name in ("A-C", "B-D"):
        value = DIAGONAL + off.get(name.replace("-", ""), 0.0)
        read(document, f"diagonal:{name}", f"{value:.4f} mm")
    return document


def first_remedy(result: Document, topic: str = "squareness") -> Document:
    return dict(finding(result, topic)["remedies"][0])


# ---- repeats ------------------------------------------------------------------------


def test_a_foot_between_two_readings_is_averaged_into_nothing() -> None:
    document = read(outlined(), "wall:C-D", f"{LENGTH - FOOT:.4f} mm")
    result = evaluate_document(document)
    wall, square = check(result, "wall:C-D"), result["squareness"]
    assert (wall["observed"], wall["deviation"]) == (None, None)
    assert (wall["verdict"], wall["readings"]) == ("remeasure", 2)
    assert "wall:C-D" not in [each["check"] for each in square["lengths"]]
    # five lengths still fix the outline, and none is drawn half a foot off
    assert max(abs(each["dx"]) for each in square["corners"]) < 0.1
    assert first_remedy(result, "wall:C-D")["remedy"] == "remeasure"


def test_a_contradicting_diagonal_leaves_the_difference_open() -> None:
    document = read(outlined(), "diagonal:A-C", f"{DIAGONAL + 60:.4f} mm")
    square = evaluate_document(document)["squareness"]
    assert (square["verdict"], square["difference"]) == ("remeasure", None)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("line:S", 8000.0),
        ("setback:S.1", 150.0),
        ("offset:S.1", -60.0),
        ("gage:S.1-2", 120.0),
        ("projection:S.1", 90.0),
        ("notch_width:A-B", 40.0),
        ("wall:A-B", LENGTH),
        ("level:S", 1400.0),
    ],
)
def test_no_kind_of_check_has_a_value_from_contradicting_readings(
    key: str, value: float
) -> None:
    document = building(notch={"width": "40 mm", "depth": "40 mm"})
    read(document, key, f"{value} mm")
    read(document, key, f"{value + 40.0} mm")
    read(document, "level:E", "1400 mm")
    result = evaluate_document(document)
    found = check(result, key)
    assert (found["verdict"], found["observed"]) == ("remeasure", None)
    topic = next(each for each in result["findings"] if key in each["checks"])
    assert topic["remedies"][0]["remedy"] == "remeasure"


def test_a_rod_is_not_placed_by_contradicting_readings() -> None:
    document = building()
    for value in (150.0, 190.0):
        read(document, "setback:S.1", f"{value} mm")
    read(document, "offset:S.1", "-60 mm")
    rod = evaluate_document(document)["positions"][0]["rods"][0]
    assert (rod["in"], rod["determined"]) == (None, False)
    assert rod["verdict"] == "remeasure"


def test_two_that_agree_outweigh_one_that_does_not() -> None:
    document = building()
    read(document, "wall:A-B", f"{LENGTH} mm")
    read(document, "wall:A-B", f"{LENGTH - FOOT} mm", id="misread")
    read(document, "wall:A-B", f"{LENGTH + 2} mm")
    found = check(evaluate_document(document), "wall:A-B")
    assert found["observed"] == pytest.approx(LENGTH + 1)
    assert (found["verdict"], found["readings"]) == ("within", 3)
    assert found["reading_ids"] == ["r1", "misread", "r3"]
    (aside,) = found["set_aside"]
    assert aside["reading"] == "misread"
    assert aside["reason"] == "305.8 mm less than the 2 readings that agree."


@pytest.mark.parametrize(
    "off",
    [
        (0.0, 0.0, 40.0, 40.0),  # two pairs
        (0.0, 4.0, 8.0),  # the one in the middle agrees with either
        (0.0, 40.0, 80.0),
        (0.0, 0.0, 0.0, 40.0, 40.0),  # the two others agree, too
    ],
)
def test_readings_outweigh_nothing_that_is_as_many_or_agrees(
    off: tuple[float, ...],
) -> None:
    document = building()
    for each in off:
        read(document, "wall:A-B", f"{LENGTH + each} mm")
    found = check(evaluate_document(document), "wall:A-B")
    assert (found["verdict"], found["observed"]) == ("remeasure", None)
    assert found["set_aside"] == []


def test_three_that_agree_outweigh_two_lone_ones() -> None:
    document = building()
    for off in (0.0, 40.0, 1.0, -60.0, 0.5):
        read(document, "wall:A-B", f"{LENGTH + off} mm")
    found = check(evaluate_document(document), "wall:A-B")
    assert found["observed"] == pytest.approx(LENGTH + 0.5)
    assert len(found["set_aside"]) == 2


# ---- outline ------------------------------------------------------------------------


def test_a_misread_diagonal_is_read_again_and_nothing_is_squared_up() -> None:
    result = evaluate_document(outlined(AC=14.0))
    square = result["squareness"]
    assert square["cannot_tell_which"]
    assert square["square_up"] == []
    assert square["contradiction"] == pytest.approx(14.0, abs=0.1)
    remedy = first_remedy(result)
    assert remedy["remedy"] == "remeasure"
    assert remedy["checks"] == ["diagonal:A-C", "diagonal:B-D"]
    assert "contradict each other by 14.0 mm" in remedy["reason"]
    assert "with the same tape" in remedy["reason"]


def test_a_contradiction_is_a_finding_though_every_length_is_within() -> None:
    # 16 mm of the diagonals' 20.8 and the walls' 19.2 mm that a longer hall allows
    long = 60_000.0
    document = building(positions=[])
    for corner in document["outline"]:
        corner["x"] = long if corner["x"] else 0
    for name in ("A-B", "C-D"):
        read(document, f"wall:{name}", f"{long} mm")
    for name in ("B-C", "D-A"):
        read(document, f"wall:{name}", f"{WIDTH} mm")
    diagonal = math.hypot(long, WIDTH)
    read(document, "diagonal:A-C", f"{diagonal + 16:.4f} mm")
    read(document, "diagonal:B-D", f"{diagonal:.4f} mm")
    result = evaluate_document(document)
    assert {each["verdict"] for each in result["checks"] if each["readings"]} == {
        "within"
    }
    assert topics(result) == ["squareness"]
    found = finding(result, "squareness")
    assert [each["remedy"] for each in found["remedies"]] == ["remeasure"]
    assert [each["remedy"] for each in found["ruled_out"]] == ["square_up"]


def test_walls_come_next_where_the_diagonals_were_repeated_and_agree() -> None:
    document = outlined(AB=40.0)
    for name in ("A-C", "B-D"):
        read(document, f"diagonal:{name}", f"{DIAGONAL:.4f} mm")
    remedy = first_remedy(evaluate_document(document), "wall:A-B")
    assert remedy["checks"] == [f"wall:{name}" for name in WALLS]


def test_where_all_were_read_twice_another_tape_or_day_is_asked_for() -> None:
    document = outlined(AB=40.0)
    for reading in list(document["readings"]):
        read(document, reading["check"], reading["value"])
    remedy = first_remedy(evaluate_document(document), "wall:A-B")
    assert "another tape, or on another day" in remedy["reason"]


def leaning(by: float) -> Document:
    """A hall whose far wall stands `by` to the side. [mm]"""
    ac, bd = math.hypot(LENGTH + by, WIDTH), math.hypot(LENGTH - by, WIDTH)
    side = math.hypot(by, WIDTH)
    return outlined(
        AC=ac - DIAGONAL, BD=bd - DIAGONAL, BC=side - WIDTH, DA=side - WIDTH
    )


def test_a_lean_that_hangs_on_one_reading_of_a_diagonal_waits_for_another() -> None:
    result = evaluate_document(leaning(9.0))
    assert result["squareness"]["verdict"] == "outside"
    assert not result["squareness"]["cannot_tell_which"]
    remedies = finding(result, "squareness")["remedies"]
    assert [each["remedy"] for each in remedies][:2] == ["remeasure", "square_up"]
    assert "rests on a single reading" in remedies[0]["reason"]
    assert remedies[0]["checks"] == ["diagonal:A-C", "diagonal:B-D"]


def test_a_lean_read_twice_is_squared_up() -> None:
    document = leaning(9.0)
    for reading in document["readings"][4:6]:
        read(document, reading["check"], reading["value"])
    assert first_remedy(evaluate_document(document))["remedy"] == "square_up"


def test_a_lean_beyond_what_any_one_misreading_explains_is_squared_up() -> None:
    assert first_remedy(evaluate_document(leaning(40.0)))["remedy"] == "square_up"


def test_what_one_tape_has_in_common_cancels_in_the_difference() -> None:
    square = evaluate_document(outlined())["squareness"]
    own = math.hypot(1.5, 1e-4 / math.sqrt(12))
    assert square["uncertainty"] == pytest.approx(math.sqrt(2) * own, rel=1e-6)
    single = check(evaluate_document(outlined()), "diagonal:A-C")["uncertainty"]
    assert single > 2.0 * square["uncertainty"]
    assert square["probability"] > 0.999


def test_two_tapes_do_not_cancel() -> None:
    document = outlined()
    document["instruments"]["T9"] = {"kind": "steel tape", "class": "II"}
    document["readings"][5]["instrument"] = "T9"
    square = evaluate_document(document)["squareness"]
    assert square["uncertainty"] > 4.0
    names = [(each["kind"], each["name"]) for each in square["common_errors"]]
    assert names == [("tape", ""), ("tape", "T9"), ("day", "")]


# ---- rates --------------------------------------------------------------------------


@pytest.mark.parametrize("size", [(40, 30), (300, 150)])
def test_misread_diagonals_are_noticed_and_honest_crews_are_not_accused(
    size: tuple[int, int],
) -> None:
    # the full table: python -m tests.bench.outline_errors
    shape = outline_errors.build_rectangle(*size)
    half, _ = outline_errors.measure_detection(shape, "diagonal", 12.7, 500)
    whole, _ = outline_errors.measure_detection(shape, "diagonal", 25.4, 500)
    alarms = outline_errors.measure_false_alarms(shape, 1000)
    assert half > 0.78
    assert whole > 0.99
    assert sum(alarms) / len(alarms) < 0.01


def test_nobody_squares_up_on_a_misread_diagonal() -> None:
    counts = outline_errors.count_square_ups(80, 50, 12, misread_mm=12.7)
    assert counts["square_up"] == 0
    assert counts["remeasure"] >= 10
