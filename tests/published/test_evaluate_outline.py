"""Outline, diagonals and walls as `evaluate` judges them.

Expectations: plane geometry, SciPy's least squares on the corners, common practice
for the limits (1/4 in per 50 ft; 1/8 in at least for a wall).
"""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import least_squares

from tests.published.contract import (
    DIAGONAL,
    LENGTH,
    WIDTH,
    Document,
    building,
    check,
    evaluate_document,
    finding,
    read,
    tape_class,
    topics,
)

RATE = 6.35 / 15240  # 1/4 in per 50 ft

Corners = list[tuple[float, float]]
RECTANGLE: Corners = [(0, 0), (LENGTH, 0), (LENGTH, WIDTH), (0, WIDTH)]
SKEWED: Corners = [(0, 0), (20000, 1000), (23000, 14000), (-500, 12000)]
ELL: Corners = [
    *((0, 0), (20000, 0), (20000, 8000), (9000, 8000), (9000, 15000), (0, 15000)),
]
TRIANGLE: Corners = [(0, 0), (12000, 0), (5000, 9000)]


def outlined(corners: Corners, **members: object) -> Document:
    """A building of this outline, with no positions."""
    listed = [
        {"corner": "ABCDEF"[i], "x": x, "y": y} for i, (x, y) in enumerate(corners)
    ]
    return building(outline=listed, positions=[], **members)


def between(corners: Corners, pair: str) -> float:
    return math.dist(*(corners["ABCDEF".index(name)] for name in pair))


def read_lengths(
    document: Document, corners: Corners, pairs: str, **off: float
) -> Document:
    """Read each pair of corners, "AB AC", as it is there plus what it is off. [mm]"""
    names = "ABCDEF"[: len(corners)]
    walls = [f"{a}{b}" for a, b in pairwise([*names, "A"])]
    for pair in pairs.split():
        kind = "wall" if pair in walls else "diagonal"
        value = between(corners, pair) + off.get(pair, 0.0)
        read(document, f"{kind}:{pair[0]}-{pair[1]}", f"{value:.6f} mm")
    return document


ALL = "AB BC CD DA AC BD"


# ---- diagonals ----------------------------------------------------------------


@pytest.mark.parametrize("unit", ["in", "ft", "mm"])
@pytest.mark.parametrize(("beyond", "word"), [(0, "within"), (2e-5, "outside")])
def test_the_difference_of_the_diagonals_has_its_rate(
    unit: str, beyond: float, word: str
) -> None:
    limit = DIAGONAL * RATE * (1 + beyond)
    size = {"in": 25.4, "ft": 304.8, "mm": 1.0}[unit]
    document = outlined(RECTANGLE)
    read(document, "diagonal:A-C", f"{(DIAGONAL + limit / 2) / size:.12f} {unit}")
    read(document, "diagonal:B-D", f"{(DIAGONAL - limit / 2) / size:.12f} {unit}")
    result = evaluate_document(document)
    square = result["squareness"]
    assert square["difference"] == pytest.approx(limit, abs=2e-6)
    assert square["limit"] == pytest.approx(DIAGONAL * RATE)
    assert square["verdict"] == word
    assert ("squareness" in topics(result)) == (word == "outside")


def test_each_diagonal_is_held_against_its_own_nominal() -> None:
    document = outlined(SKEWED)
    read(document, "diagonal:A-C", between(SKEWED, "AC"))
    found = check(evaluate_document(document), "diagonal:A-C")
    assert found["nominal"] == pytest.approx(math.hypot(23000, 14000))
    assert found["limit"] == pytest.approx(math.hypot(23000, 14000) * RATE)


def test_where_the_plans_diagonals_differ_their_deviations_are_compared() -> None:
    document = read_lengths(outlined(SKEWED), SKEWED, "AC BD", AC=7, BD=-8)
    square = evaluate_document(document)["squareness"]
    mean = (between(SKEWED, "AC") + between(SKEWED, "BD")) / 2
    assert square["difference"] == pytest.approx(15, abs=1e-6)
    assert square["limit"] == pytest.approx(mean * RATE)
    assert square["verdict"] == "outside"


def test_one_diagonal_alone_leaves_squareness_unmeasured() -> None:
    document = read(outlined(RECTANGLE), "diagonal:A-C", DIAGONAL)
    square = evaluate_document(document)["squareness"]
    assert (square["verdict"], square["difference"]) == ("unmeasured", None)


def test_both_diagonals_long_alike_are_a_matter_of_size() -> None:
    document = read_lengths(
        outlined(RECTANGLE), RECTANGLE, ALL, AC=14, BD=14, AB=12, CD=12, BC=7, DA=7
    )
    result = evaluate_document(document)
    assert result["squareness"]["verdict"] == "within"
    assert check(result, "diagonal:A-C")["verdict"] == "outside"
    found = finding(result, "squareness")
    assert "square_up" not in [each["remedy"] for each in found["remedies"]]
    assert [each["remedy"] for each in found["ruled_out"]] == ["square_up"]


def test_a_triangle_needs_no_diagonals() -> None:
    document = read_lengths(outlined(TRIANGLE), TRIANGLE, "AB BC CA")
    result = evaluate_document(document)
    assert result["squareness"]["verdict"] == "unmeasured"
    assert result["squareness"]["determined"]
    assert result["squareness"]["lean"] == pytest.approx(0, abs=1e-9)
    assert result["findings"] == []


def test_an_ell_takes_the_diagonals_it_is_given() -> None:
    document = outlined(ELL, diagonals=[["A", "C"], ["B", "D"], ["A", "E"]])
    for pair in ("A-C", "B-D"):
        read(document, f"diagonal:{pair}", between(ELL, pair.replace("-", "")))
    assert evaluate_document(document)["squareness"]["verdict"] == "unmeasured"
    assert "A-E" not in str([r["check"] for r in document["readings"]])


SMALL_AND_LARGE: Corners = [
    *((0, 0), (60000, 0), (60000, 3000), (58000, 3000), (58000, 5000), (0, 5000)),
]


def test_of_three_diagonals_each_pair_has_the_limit_of_its_own_mean() -> None:
    document = outlined(SMALL_AND_LARGE, diagonals=[["A", "C"], ["B", "D"], ["C", "E"]])
    read_lengths(document, SMALL_AND_LARGE, "AC BD CE", BD=0.8, CE=-0.8)
    square = evaluate_document(document)["squareness"]
    mean = (between(SMALL_AND_LARGE, "BD") + between(SMALL_AND_LARGE, "CE")) / 2
    assert square["difference"] == pytest.approx(1.6, abs=1e-5)
    assert square["limit"] == pytest.approx(mean * RATE)  # 1.34 mm, not the long one's
    assert square["verdict"] == "outside"


@pytest.mark.parametrize(("off", "word"), [(7, "outside"), (2, "unmeasured")])
def test_a_pair_of_diagonals_apart_is_outside_whatever_is_still_unread(
    off: float, word: str
) -> None:
    document = outlined(ELL, diagonals=[["A", "C"], ["B", "D"], ["A", "E"]])
    read_lengths(document, ELL, "AC BD", AC=off, BD=-off)
    result = evaluate_document(document)
    assert result["squareness"]["verdict"] == word
    assert (result["squareness"]["difference"] is None) == (word == "unmeasured")
    assert ("squareness" in topics(result)) == (word == "outside")


# ---- walls ----------------------------------------------------------------


@pytest.mark.parametrize("size", [24000.0, 7620.0, 7000.0, 900.0])
def test_a_walls_limit_is_its_rate_and_an_eighth_at_least(size: float) -> None:
    corners: Corners = [(0, 0), (size, 0), (size, 9000), (0, 9000)]
    limit = max(size * RATE, 3.175)
    for off, word in ((limit, "within"), (-limit, "within"), (limit + 1e-3, "outside")):
        document = read(outlined(corners), "wall:A-B", f"{size + off:.6f} mm")
        found = check(evaluate_document(document), "wall:A-B")
        assert found["limit"] == pytest.approx(limit)
        assert found["verdict"] == word


# ---- adjustment ----------------------------------------------------------------


def covariance_of(lengths: list[float], resolution: float) -> np.ndarray:
    """Covariance of lengths of one class II tape on one day without a temperature.

    Class and temperature are common to all; resolution and handling are each reading's
    own.
    """
    tape = np.array([tape_class(length) for length in lengths])
    heat = 11.6e-6 * 10 / math.sqrt(3) * np.array(lengths)
    handling = np.minimum(0.5 + 0.1 * np.array(lengths) / 1000, 1.5)
    own = np.diag(handling**2 + resolution**2 / 12)
    return np.outer(tape, tape) + np.outer(heat, heat) + own


def adjusted(
    corners: Corners, readings: dict[str, float], whiten: np.ndarray
) -> np.ndarray:
    """Corners by SciPy's least squares, laid on the plan by a rigid best fit."""
    plan = np.array(corners, dtype=float)
    ends = [["ABCDEF".index(name) for name in pair] for pair in readings]

    def misfit(flat: np.ndarray) -> np.ndarray:
        at = flat.reshape(-1, 2)
        gaps = [
            np.linalg.norm(at[j] - at[i]) - value
            for (i, j), value in zip(ends, readings.values(), strict=True)
        ]
        return np.asarray(whiten @ np.array(gaps))

    found = least_squares(
        misfit, plan.ravel(), xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale=1e4
    ).x.reshape(-1, 2)
    middle, planned = found.mean(axis=0), plan.mean(axis=0)
    u, _, v = np.linalg.svd((found - middle).T @ (plan - planned))
    return np.asarray((found - middle) @ (u @ v) + planned)


@pytest.mark.parametrize(
    ("corners", "pairs"),
    [
        (RECTANGLE, ALL),
        (SKEWED, ALL),
        (RECTANGLE, "AB BC CD DA AC"),
        (ELL, "AB BC CD DE EF FA AC BD AE CE AD BF"),
    ],
)
def test_the_corners_are_those_of_least_squares(corners: Corners, pairs: str) -> None:
    rng = np.random.default_rng(5)
    off = {pair: float(rng.normal(0, 3)) for pair in pairs.split()}
    members = {"diagonals": [["A", "C"], ["B", "D"]]} if len(corners) > 4 else {}
    result = evaluate_document(
        read_lengths(outlined(corners, **members), corners, pairs, **off)
    )
    readings = {}
    for each in result["checks"]:
        if each["readings"]:
            pair = each["check"].partition(":")[2].replace("-", "")
            readings[pair] = each["observed"]
    covariance = covariance_of(list(readings.values()), 1e-6)
    whiten = np.linalg.inv(np.linalg.cholesky(covariance))
    want = adjusted(corners, readings, whiten) - np.array(corners)
    given = [(each["dx"], each["dy"]) for each in result["squareness"]["corners"]]
    assert np.allclose(given, want, atol=2e-4)
    freedom = len(readings) - (2 * len(corners) - 3)
    assert result["squareness"]["degrees_of_freedom"] == freedom
    if freedom:
        gaps = [
            math.dist(*(want[i] + corners[i] for i in pair)) - value
            for key, value in readings.items()
            for pair in [["ABCDEF".index(name) for name in key]]
        ]
        assert result["squareness"]["reference_variance"] == pytest.approx(
            np.sum((whiten @ gaps) ** 2) / freedom, rel=1e-4
        )


def test_a_parallelogram_leans_by_its_diagonals() -> None:
    lean = 0.0015
    corners: Corners = [
        (0, 0),
        (LENGTH, 0),
        (LENGTH + WIDTH * math.sin(lean), WIDTH * math.cos(lean)),
        (WIDTH * math.sin(lean), WIDTH * math.cos(lean)),
    ]
    document = read_lengths(outlined(RECTANGLE), corners, ALL)
    result = evaluate_document(document)
    square = result["squareness"]
    # p^2 - q^2 = 4 a b sin(lean): plane geometry
    p, q = between(corners, "AC"), between(corners, "BD")
    assert math.sin(square["lean"]) == pytest.approx(
        (p**2 - q**2) / (4 * LENGTH * WIDTH), rel=1e-6
    )
    proposal = finding(result, "squareness")["remedies"][0]
    assert proposal["remedy"] == "square_up"
    moves = {(each["corner"], each["wall"]): each["move"] for each in proposal["moves"]}
    by = WIDTH * math.sin(lean)
    assert moves == {
        ("C", "C-D"): pytest.approx(by, rel=1e-6),
        ("D", "C-D"): pytest.approx(by, rel=1e-6),
    }


def test_with_one_reading_to_spare_nobody_can_tell_which_is_wrong() -> None:
    document = read_lengths(outlined(RECTANGLE), RECTANGLE, ALL, AC=60)
    result = evaluate_document(document)
    assert result["squareness"]["cannot_tell_which"]
    assert result["squareness"]["suspect_readings"] == []
    sizes = [abs(each["w"]) for each in result["squareness"]["lengths"]]
    assert sizes == pytest.approx([sizes[0]] * 6, rel=1e-4)
    again = finding(result, "squareness")["remedies"][0]
    assert again["remedy"] == "remeasure"
    assert "they cannot tell which" in again["reason"]
    assert again["checks"] == ["diagonal:A-C", "diagonal:B-D"]
    assert "square_up" not in [
        each["remedy"] for each in finding(result, "squareness")["remedies"]
    ]
    assert result["squareness"]["square_up"] == []
    # one misread diagonal leaves the whole amount in the sum of both
    assert result["squareness"]["contradiction"] == pytest.approx(60, abs=0.2)


def test_with_more_to_spare_the_wrong_reading_is_named() -> None:
    pairs = "AB BC CD DE EF FA AC BD AE CE AD BF CF"
    document = outlined(ELL, diagonals=[["A", "C"], ["B", "D"]])
    read_lengths(document, ELL, pairs, BD=70)
    result = evaluate_document(document)
    suspects = [each["check"] for each in result["squareness"]["suspect_readings"]]
    assert "diagonal:B-D" in suspects
    assert finding(result, "squareness")["remedies"][0]["remedy"] == "remeasure"


@pytest.mark.parametrize(
    ("pairs", "missing"),
    [
        ("AB BC CD DA", ["diagonal:A-C"]),
        ("AB BC CD AC", ["wall:D-A"]),
        ("AC BD AB", ["wall:B-C", "wall:C-D"]),
        ("", ["wall:A-B", "wall:B-C", "wall:C-D", "wall:D-A", "diagonal:A-C"]),
    ],
)
def test_fewer_readings_than_unknowns_name_the_missing_ones(
    pairs: str, missing: list[str]
) -> None:
    square = evaluate_document(read_lengths(outlined(RECTANGLE), RECTANGLE, pairs))[
        "squareness"
    ]
    assert square["missing_readings"] == missing
    assert (square["determined"], square["lean"]) == (False, None)
    assert missing[0].replace(":", " ").replace("-", " to ") in square["note"]


def test_out_of_square_with_walls_missing_asks_for_them_first() -> None:
    document = read_lengths(outlined(RECTANGLE), RECTANGLE, "AC BD AB", AC=20, BD=-20)
    result = evaluate_document(document)
    (first, *rest) = finding(result, "squareness")["remedies"]
    assert (first["remedy"], first["checks"]) == (
        "remeasure",
        ["wall:B-C", "wall:C-D"],
    )
    assert [each["remedy"] for each in rest] == ["refer"]
    assert finding(result, "squareness")["checks"] == ["diagonal:A-C", "diagonal:B-D"]


def test_a_lone_diagonal_is_checked_by_the_other_before_anything_is_moved() -> None:
    document = read_lengths(outlined(RECTANGLE), RECTANGLE, "AB BC CD DA AC", AC=20)
    first, second, *_ = finding(evaluate_document(document), "squareness")["remedies"]
    assert (first["remedy"], first["checks"]) == ("remeasure", ["diagonal:B-D"])
    assert "Nothing checks the outline" in first["reason"]
    assert second["remedy"] == "square_up"


def test_out_of_square_asks_for_the_wall_that_the_other_lengths_contradict() -> None:
    lean = [(x + 0.003 * y, y) for x, y in ELL]
    pairs = "AB BC CD DE EF FA AC AD AE BD BE BF CE CF DF"
    listed = [[pair[0], pair[1]] for pair in pairs.split()[6:]]
    document = read_lengths(outlined(ELL, diagonals=listed), lean, pairs, BC=60)
    found = finding(evaluate_document(document), "squareness")
    # a wall drags the rest with it: no other reading is accused of what it did
    assert found["likely_cause"] is None
    assert found["remedies"][0]["remedy"] == "remeasure"
    assert found["remedies"][0]["checks"][0] == "wall:B-C"


@pytest.mark.parametrize("pairs", [ALL, "AB BC CD DA AC"])
def test_nobody_is_told_to_move_a_corner_by_yards(pairs: str) -> None:
    # a diagonal written down for the other one
    off = {"AC": between(SKEWED, "BD") - between(SKEWED, "AC")}
    if "BD" in pairs:
        off["BD"] = -off["AC"]
    document = read_lengths(outlined(SKEWED), SKEWED, pairs, **off)
    result = evaluate_document(document)
    assert result["squareness"]["square_up"] == []
    remedies = finding(result, "squareness")["remedies"]
    assert [each["remedy"] for each in remedies] == ["remeasure", "refer"]


def test_squaring_up_waits_for_a_wall_whose_readings_disagree() -> None:
    lean = [(x + 0.002 * y, y) for x, y in RECTANGLE]
    document = read_lengths(outlined(RECTANGLE), lean, ALL)
    read(document, "wall:A-B", f"{LENGTH + 15:.6f} mm")
    result = evaluate_document(document)
    assert check(result, "wall:A-B")["verdict"] == "remeasure"
    first = finding(result, "squareness")["remedies"][0]
    assert (first["remedy"], first["checks"]) == ("remeasure", ["wall:A-B"])


def test_a_skewed_outline_too_long_at_its_planned_angles_is_not_squared_up() -> None:
    skew: Corners = [(0, 0), (20000, 0), (25000, 8660), (5000, 8660)]
    long = [*skew[:2], (25050, 8746.6), (5050, 8746.6)]
    result = evaluate_document(read_lengths(outlined(skew), long, ALL))
    assert result["squareness"]["verdict"] == "outside"
    found = finding(result, "squareness")
    assert [each["remedy"] for each in found["remedies"]] == ["refer"]
    (why,) = found["ruled_out"]
    assert why["remedy"] == "square_up"
    assert "size is out" in why["reason"]


def test_lengths_that_no_figure_has_are_measured_again() -> None:
    document = read_lengths(outlined(TRIANGLE), TRIANGLE, "AB BC CA", AB=11000)
    result = evaluate_document(document)
    assert not result["squareness"]["determined"]
    assert "At least one of them is wrong" in result["squareness"]["note"]
    assert finding(result, "wall:A-B")["remedies"][0]["remedy"] == "remeasure"


def test_a_sliver_of_an_outline_is_evaluated_without_a_figure() -> None:
    corners: Corners = [(0, 0), (5_000_000, 0), (2_500_000, 0.01)]
    result = evaluate_document(read_lengths(outlined(corners), corners, "AB BC CA"))
    assert not result["squareness"]["determined"]
    assert result["squareness"]["corners"] == []


def test_a_pull_that_cannot_be_makes_the_diagonals_be_measured_again() -> None:
    # sag w^2 l^3 / (24 P^2) of 0.2 N/m over the whole diagonal at 1 N is over 30 m
    document = read_lengths(outlined(RECTANGLE), RECTANGLE, "AC BD")
    document["instruments"]["T"]["weight"] = "0.2 N/m"
    document["readings"][0] |= {"instrument": "T", "tension": "1 N", "span": "29 m"}
    result = evaluate_document(document)
    assert check(result, "diagonal:A-C")["verdict"] == "remeasure"
    assert result["squareness"]["verdict"] == "remeasure"
