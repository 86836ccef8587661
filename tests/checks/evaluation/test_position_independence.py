"""A position's result does not depend on the other details of its building.

Groups of different numbers of rods are computed together, the smaller ones padded.
"""

import copy
import json
from typing import Any

import numpy as np
import pytest

from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building_text
from tests.published.contract import building, read

PLATE = {
    "thickness": "16 mm",
    "hole_diameter": "26 mm",
    "edge_distance": "45 mm",
}
PATTERNS = {
    2: [(-60.0, 150.0), (60.0, 150.0)],
    4: [(-60.0, 150.0), (60.0, 150.0), (-60.0, 270.0), (60.0, 270.0)],
    8: [
        (along, inward)
        for inward in (150.0, 230.0, 310.0, 390.0)
        for along in (-70.0, 70.0)
    ],
}
"""Rods (along, in) by number of rods. [mm]"""


def detail(count: int, *, plate: bool = True) -> dict[str, Any]:
    return {
        "reference": "centreline",
        **({"plate": PLATE} if plate else {}),
        "rods": [
            {"along": along, "in": inward, "diameter": 20, "projection": 90}
            for along, inward in PATTERNS[count]
        ],
    }


def position(document, mark, detail_name, along, rods, *, rng, gage=False):
    """Add a position and its readings: the rods as built, read to 0.1 mm."""
    document["positions"].append(
        {"mark": mark, "wall": "A-B", "along": along, "detail": detail_name}
    )
    read(document, f"line:{mark}", along + float(rng.normal(0, 1)), instrument="T")
    for number, (at, inward) in enumerate(rods, start=1):
        read(document, f"setback:{mark}.{number}", round(inward, 1))
        if not gage or number == 1:
            read(document, f"offset:{mark}.{number}", round(at, 1))
        read(document, f"projection:{mark}.{number}", 88)
    if gage:
        for number in range(2, len(rods) + 1):
            apart = float(np.hypot(*np.subtract(rods[number - 1], rods[0])))
            read(document, f"gage:{mark}.1-{number}", round(apart, 1))


def moved(count, turn, shift, noise=0.0, rng=None):
    points = np.array(PATTERNS[count])
    middle = points.mean(axis=0)
    c, s = np.cos(turn), np.sin(turn)
    built = middle + shift + (points - middle) @ np.array([[c, s], [-s, c]])
    return built if rng is None else built + rng.normal(0, noise, points.shape)


def result_of(document):
    return evaluate(parse_building_text(json.dumps(document)))


def only(document, mark):
    """The same document with one position, its detail and its readings."""
    alone = copy.deepcopy(document)
    alone["positions"] = [p for p in alone["positions"] if p["mark"] == mark]
    used = {p["detail"] for p in alone["positions"]}
    alone["details"] = {k: v for k, v in alone["details"].items() if k in used}
    alone["readings"] = [
        r for r in alone["readings"] if r["check"].split(":")[1].split(".")[0] == mark
    ]
    return alone


def own_results(result, mark):
    """What the result says of one position, in one structure."""
    return {
        "position": [p for p in result["positions"] if p["mark"] == mark],
        "checks": [
            c
            for c in result["checks"]
            if c["check"].split(":")[1].split(".")[0] == mark
        ],
        "rules": [r for r in result["group_rules"] if r["marks"] == [mark]],
        "findings": [
            {**f, "remedies": [r for r in f["remedies"] if "scope" not in r]}
            for f in result["findings"]
            if all(c.split(":")[1].split(".")[0] == mark for c in f["checks"])
        ],
    }


PLACEMENT_MM = 5e-4
"""A plate's best placement is flat: two solutions equally good differ by as much."""


def assert_alike(one, other, path=""):
    """Equal texts and numbers; what a plate's placement moves, to `PLACEMENT_MM`."""
    if isinstance(one, dict):
        assert one.keys() == other.keys(), path
        for key in one:
            assert_alike(one[key], other[key], f"{path}/{key}")
    elif isinstance(one, list):
        assert len(one) == len(other), path
        for i, (a, b) in enumerate(zip(one, other, strict=True)):
            assert_alike(a, b, f"{path}/{i}")
    elif isinstance(one, float) and path.endswith(("/direction", "/turn")):
        # An angle just past half a turn is one just before it.
        around = float(np.remainder(one - other + np.pi, 2 * np.pi))
        assert around == pytest.approx(np.pi, abs=1e-4), path
    elif isinstance(one, float) and isinstance(other, float):
        placed = "/plate_fit/" in path or "/remedies/" in path
        tolerance = PLACEMENT_MM if placed else 1e-8
        assert one == pytest.approx(other, abs=tolerance, rel=1e-9), path
    else:
        assert one == other, path


def test_the_shift_of_four_rods_is_the_same_beside_a_group_of_eight():
    # turned 0.02 rad and moved 1 mm along: 1.505 and -0.495 with the padding counted
    rng = np.random.default_rng(1)
    document = building(details={"Q": detail(4), "R": detail(8)}, positions=[])
    position(document, "Q1", "Q", 6000, moved(4, 0.02, (1.0, 0.0)), rng=rng)
    document["readings"][0]["value"] = 6000
    position(document, "R1", "R", 12000, moved(8, 0.0, (0.0, 0.0)), rng=rng)
    row = result_of(document)["positions"][0]
    assert row["shift_along"] == pytest.approx(1.0, abs=0.05)
    assert row["shift_in"] == pytest.approx(0.0, abs=0.05)
    assert row["turn"] == pytest.approx(0.02, abs=5e-4)


@pytest.mark.parametrize("basis", ["metal-building-practice", "en-1090-2-2008"])
@pytest.mark.parametrize("seed", range(6))
def test_a_position_alone_has_the_same_result_as_among_others(seed, basis):
    rng = np.random.default_rng(seed)
    document = building(
        details={
            "P": detail(2),
            "Q": detail(4),
            "R": detail(8),
            "N": detail(4, plate=False),
        },
        positions=[],
        tolerances={"basis": basis},
    )
    noise = (0.3, 1.0, 3.0)[seed % 3]
    for i, (name, count, gage) in enumerate(
        [
            ("Q", 4, False),
            ("P", 2, False),
            ("R", 8, False),
            ("Q", 4, True),
            ("N", 4, False),
            ("R", 8, True),
        ]
    ):
        built = moved(count, rng.normal(0, 0.01), rng.normal(0, 2, 2), noise, rng)
        position(document, f"K{i}", name, 3000 * (i + 1), built, rng=rng, gage=gage)
    together = result_of(document)
    for i in range(6):
        mark = f"K{i}"
        alone = result_of(only(document, mark))
        assert_alike(own_results(together, mark), own_results(alone, mark), mark)
