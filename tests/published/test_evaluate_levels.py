"""Pads, set-ups, shims, projection and thread as `evaluate` judges them.

Oracles: NumPy's least squares over all set-ups, every stack counted out by brute
force, and the sums of the trade by hand with their sources beside them.
"""

import math
from functools import cache
from itertools import product

import numpy as np
import pytest

from tests.published.contract import (
    INCH,
    Document,
    building,
    check,
    evaluate_document,
    finding,
    level_precisely,
    pad,
    read,
    topics,
)

MARKS = "SENW"


def levelled(document: Document, **readings: float) -> Document:
    """One grade-rod reading of each pad, from set-up 1. [mm]"""
    for mark, value in readings.items():
        read(document, f"level:{mark}", f"{value:.6f} mm")
    return document


def evaluate_precisely(document: Document) -> Document:
    return evaluate_document(level_precisely(document))


# ---- heights ---------------------------------------------------------------------


def test_a_larger_reading_is_a_lower_pad_counted_from_the_highest() -> None:
    result = evaluate_precisely(levelled(building(), S=1403, E=1400.5, N=1400, W=1402))
    heights = [pad(result, mark)["height"] for mark in MARKS]
    assert heights == pytest.approx([-3, -0.5, 0, -2], abs=1e-5)
    assert result["levels"]["highest"] == "N"
    level = check(result, "level:S")
    assert level["deviation"] == pytest.approx(-3, abs=1e-5)
    assert level["limit"] == pytest.approx(3.175)


@pytest.mark.parametrize(
    # three pads equally high leave it open by a micrometre which of them is highest
    ("low", "word"),
    [(3.172, "within"), (3.178, "outside"), (20.0, "outside")],
)
def test_a_pad_may_lie_an_eighth_below_the_highest(low: float, word: str) -> None:
    result = evaluate_precisely(
        levelled(building(), S=1400 + low, E=1400, N=1400, W=1400)
    )
    assert pad(result, "S")["verdict"] == word
    assert check(result, "level:S")["verdict"] == word
    assert topics(result) == (["level:S"] if word == "outside" else [])


def test_the_limit_is_the_same_read_in_decimal_feet() -> None:
    document = read(building(), "level:S", "4.593175853 ft")  # 1400 mm
    read(document, "level:E", "4.603592520 ft")  # 1/8 in more, rounded down
    assert pad(evaluate_precisely(document), "E")["verdict"] == "within"


NET = [  # set-up, point, reading: three set-ups, two benchmarks, a pad read twice
    ("1", "level:S", 1402.0),
    ("1", "level:E", 1399.0),
    ("1", "benchmark:B1", 1250.0),
    ("2", "benchmark:B1", 1611.0),
    ("2", "level:N", 1763.0),
    ("2", "benchmark:B2", 2063.5),
    ("3", "benchmark:B2", 1320.0),
    ("3", "level:W", 1383.0),
    ("3", "level:S", 1021.0),
]


def net_heights() -> dict[str, float]:
    """Heights from the highest pad by NumPy's least squares, all sights alike."""
    points = list(dict.fromkeys(point for _, point, _ in NET))
    setups = list(dict.fromkeys(setup for setup, _, _ in NET))
    rows, values = [], []
    for setup, point, value in NET:  # reading = height of instrument - height
        row = np.zeros(len(setups) + len(points))
        row[setups.index(setup)] = 1
        row[len(setups) + points.index(point)] = -1
        rows.append(row)
        values.append(value)
    found = np.linalg.lstsq(np.array(rows), np.array(values), rcond=None)[0]
    heights = dict(zip(points, found[len(setups) :].tolist(), strict=True))
    top = max(value for point, value in heights.items() if point.startswith("level"))
    return {point: value - top for point, value in heights.items()}


def test_set_ups_are_tied_by_benchmarks_and_by_pads_read_twice() -> None:
    document = building()
    for setup, point, value in NET:
        read(document, point, value, setup=setup)
    result = evaluate_precisely(document)
    for point, height in net_heights().items():
        if point.startswith("level"):
            assert pad(result, point[-1])["height"] == pytest.approx(height, abs=1e-4)
    # the one loop S-1-B1-2-B2-3-S: differences carried round it
    loop = (1402 - 1250) + (1611 - 2063.5) + (1320 - 1021)
    assert result["levels"]["misclosure"] == pytest.approx(abs(loop))
    assert result["levels"]["misclosure_limit"] == pytest.approx(0.02 * 304.8)


def test_set_ups_that_do_not_close_are_levelled_again() -> None:
    document = levelled(building(), S=1400, E=1400)
    for mark, value in (("S", 1650), ("E", 1659), ("N", 1650)):
        read(document, f"level:{mark}", value, setup="two")
    result = evaluate_precisely(document)
    assert result["levels"]["misclosure"] == pytest.approx(9)
    assert result["levels"]["verdict"] == "remeasure"
    found = finding(result, "levels")
    assert found["checks"] == ["level:S", "level:E"]
    first = found["remedies"][0]
    assert (first["remedy"], first["setups"]) == ("remeasure", ["1", "two"])
    assert "1, two" in first["reason"]


def test_set_ups_that_close_open_no_finding() -> None:
    document = levelled(building(), S=1400, E=1400)
    for mark in "SE":
        read(document, f"level:{mark}", 1650, setup="two")
    result = evaluate_precisely(document)
    assert (topics(result), result["levels"]["verdict"]) == ([], "within")


def test_a_set_up_nothing_ties_is_not_judged() -> None:
    document = levelled(building(), S=1400, E=1400, N=1401)
    read(document, "level:W", 900, setup="2")
    result = evaluate_precisely(document)
    assert pad(result, "W")["height"] is None
    assert check(result, "level:W")["verdict"] == "unmeasured"
    assert check(result, "level:W")["readings"] == 1
    assert "ties set-up 2" in check(result, "level:W")["reason"]


def test_a_tilted_line_of_sight_is_corrected_where_the_sights_are_known() -> None:
    # c d: 100 arcsec over 40 m and 10 m of sight
    document = building()
    document["instruments"]["L"]["collimation"] = "100 arcsec"
    read(document, "level:S", 1400.0, instrument="L", sight="40 m")
    read(document, "level:E", 1400.0, instrument="L", sight="10 m")
    tilt = math.radians(100 / 3600)
    height = pad(evaluate_precisely(document), "E")["height"]
    assert height == pytest.approx(-tilt * (40000 - 10000), rel=1e-6)


def test_beyond_sixty_metres_of_imbalance_the_earths_curve_counts() -> None:
    document = read(building(), "level:S", 1400.0, sight="90 m")
    read(document, "level:E", 1400.0, sight="20 m")
    # 0.0673 d^2 m, d in km (published-facts 7.1)
    want = 67.3 * (0.09**2 - 0.02**2)
    assert pad(evaluate_precisely(document), "E")["height"] == pytest.approx(
        -want, rel=1e-3
    )


# ---- shims -----------------------------------------------------------------------


@cache
def stacks(thicknesses: tuple[float, ...]) -> list[tuple[float, tuple[int, ...]]]:
    """Every stack up to 20 mm and its count of each thickness, by brute force."""
    ranges = [range(int(20 // each) + 1) for each in thicknesses]
    return [
        (sum(n * t for n, t in zip(counts, thicknesses, strict=True)), counts)
        for counts in product(*ranges)
        if any(counts)
    ]


def best_stack(shortfall: float, thicknesses: tuple[float, ...]) -> list[float]:
    """Nearest, ties to the thinner, fewest plates, thicker first; thickest first."""
    order = tuple(sorted(thicknesses, reverse=True))
    _total, counts = min(
        stacks(order),
        key=lambda each: (
            round(abs(each[0] - shortfall), 6),
            round(each[0], 6),
            sum(each[1]),
            [-count for count in each[1]],
        ),
    )
    return [t for t, n in zip(order, counts, strict=True) for _ in range(n)]


SETS: list[tuple[str, ...]] = [
    ('1/16"', '1/8"', '1/4"', '1/2"'),
    ('1/2"', '1/16"'),
    ("2 mm", "3 mm", "6 mm"),
    ("5 mm", "7 mm"),
    ("1.5 mm", "4 mm"),
    ('3/32"', '7/32"'),
]


def millimetres(text: str) -> float:
    if text.endswith("mm"):
        return float(text[:-2])
    over, under = text.rstrip('"').split("/")
    return int(over) / int(under) * INCH


@pytest.mark.parametrize("given", SETS)
def test_a_shim_is_the_nearest_stack_of_what_there_is(given: tuple[str, ...]) -> None:
    sizes = tuple(millimetres(text) for text in given)
    for shortfall in (3.2, 3.96875, 4.7625, 6.0, 7.9375, 9.5, 10.3, 12.7):
        want = best_stack(shortfall, sizes)
        if abs(sum(want) - shortfall) > 3.175:
            continue
        document = building(shim_thicknesses=list(given))
        result = evaluate_precisely(levelled(document, S=1400 + shortfall, E=1400))
        found = pad(result, "S")
        assert [millimetres(text) for text in found["stack"]] == pytest.approx(want)
        assert found["shim"] == pytest.approx(sum(want))
        assert found["residual"] == pytest.approx(sum(want) - shortfall, abs=2e-3)
        proposal = finding(result, "level:S")["remedies"][0]
        assert (proposal["remedy"], proposal["stack"]) == ("shim", found["stack"])


def test_a_tie_goes_to_the_thinner_stack() -> None:
    document = building(shim_thicknesses=["4 mm", "6 mm"])
    assert pad(evaluate_precisely(levelled(document, S=1405, E=1400)), "S")[
        "stack"
    ] == ["4 mm"]


def test_a_pad_within_needs_no_shim() -> None:
    found = pad(evaluate_precisely(levelled(building(), S=1403, E=1400)), "S")
    assert (found["shim"], found["stack"]) == (0, [])


@pytest.mark.parametrize(
    ("low", "remedy"), [(12.697, "shim"), (12.703, "refer"), (50.0, "refer")]
)
def test_over_half_an_inch_the_engineer_decides(low: float, remedy: str) -> None:
    result = evaluate_precisely(
        levelled(building(), S=1400 + low, E=1400, N=1400, W=1400)
    )
    proposal = finding(result, "level:S")["remedies"][0]
    assert proposal["remedy"] == remedy
    assert proposal["approval"] == ("field" if remedy == "shim" else "engineer")
    assert (pad(result, "S")["shim"] is None) == (remedy == "refer")


@pytest.mark.parametrize("given", [[], None])
def test_without_shims_a_low_pad_is_referred(given: list[str] | None) -> None:
    document = building(shim_thicknesses=given)
    if given is None:
        del document["shim_thicknesses"]
    result = evaluate_precisely(levelled(document, S=1406, E=1400))
    assert finding(result, "level:S")["remedies"][0]["remedy"] == "refer"
    assert result["levels"]["pack_list"] == []


def test_the_pack_list_adds_up_plates_by_thickness() -> None:
    result = evaluate_precisely(levelled(building(), S=1405, E=1408, N=1400, W=1400))
    plates = [text for mark in "SE" for text in pad(result, mark)["stack"]]
    assert {
        each["thickness"]: each["count"] for each in result["levels"]["pack_list"]
    } == {text: plates.count(text) for text in plates}


def test_a_pad_that_alone_stands_high_may_be_lowered_instead() -> None:
    result = evaluate_precisely(levelled(building(), S=1395, E=1400, N=1400, W=1401))
    assert result["levels"]["lower_pad"] == {
        "mark": "S",
        "lower_by": pytest.approx(5, abs=2e-3),
        "shims_saved": 3,
    }
    found = finding(result, "level:E")["remedies"]
    assert [each["remedy"] for each in found[:2]] == ["shim", "lower_pad"]
    assert found[1]["approval"] == "engineer"
    assert found[1]["why_second"]


def test_thicknesses_without_a_common_measure_still_make_a_stack() -> None:
    document = building(
        shim_thicknesses=["1.234567 mm", "3.141593 mm"],
        tolerances={"overrides": {"shim_up_to": "60 mm"}},
    )
    found = pad(evaluate_precisely(levelled(document, S=1457.3, E=1400)), "S")
    assert found["residual"] == pytest.approx(0, abs=0.1)
    assert sum(millimetres(text) for text in found["stack"]) == pytest.approx(
        found["shim"]
    )


# ---- projection and thread -----------------------------------------------------------

PLATE, WASHER, NUT = 5 / 8 * INCH, 0.165 * INCH, 0.885 * INCH  # 7/8 in: 5.4 and 5.5


def inch_rods(document: Document) -> Document:
    """7/8 in rods that project 3 3/4 in through a 5/8 in plate."""
    detail = document["details"]["Q"]
    detail["plate"] |= {"thickness": '5/8"', "hole_diameter": '1 1/16"'}
    for rod in detail["rods"]:
        rod |= {"diameter": '7/8"', "projection": '3 3/4"'}
    return document


@pytest.mark.parametrize(
    ("value", "word"),
    [
        ('4 1/4"', "within"),
        ('3 1/4"', "within"),
        ("107.95 mm", "within"),
        ("107.951 mm", "outside"),
        ("0.270833333333 ft", "within"),
        ("82.549 mm", "outside"),
    ],
)
def test_projection_keeps_half_an_inch_either_way(value: str, word: str) -> None:
    result = evaluate_document(read(inch_rods(building()), "projection:S.1", value))
    assert check(result, "projection:S.1")["verdict"] == word
    assert topics(result) == (["projection:S"] if word == "outside" else [])


def test_a_short_rod_says_what_thread_is_missing() -> None:
    result = evaluate_document(read(inch_rods(building()), "projection:S.1", "35 mm"))
    first = finding(result, "projection:S")["remedies"][0]
    left = 35 - PLATE - WASHER - NUT
    assert (first["remedy"], first["approval"]) == ("extend_rod", "engineer")
    assert first["thread_left"] == pytest.approx(left, abs=1e-6)
    assert first["engaged"] == pytest.approx((NUT + left) / NUT, abs=1e-6)


def test_a_long_rod_is_no_structural_matter() -> None:
    result = evaluate_document(read(inch_rods(building()), "projection:S.1", "130 mm"))
    (only,) = finding(result, "projection:S")["remedies"]
    assert only["remedy"] == "refer"
    assert "Not structural" in only["reason"]


@pytest.mark.parametrize(("projection", "approval"), [(95, "field"), (50, "engineer")])
def test_a_shim_that_takes_the_thread_is_for_the_engineer(
    projection: float, approval: str
) -> None:
    document = levelled(inch_rods(building()), S=1412, E=1400, N=1400, W=1400)
    for number in range(1, 5):
        read(document, f"projection:S.{number}", projection)
    result = evaluate_document(document)
    shim = pad(result, "S")["shim"]
    left = projection - shim - PLATE - WASHER - NUT
    assert pad(result, "S")["thread_left"] == pytest.approx(left, abs=1e-6)
    proposal = finding(result, "level:S")["remedies"][0]
    assert (proposal["remedy"], proposal["approval"]) == ("shim", approval)
    assert ("nut" in proposal["reason"]) == (left < 0)
