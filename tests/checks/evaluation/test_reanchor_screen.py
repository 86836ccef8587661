"""The screen that goes with setting a rod anew, as a building's evaluation gives it."""

from typing import Any

import pytest

from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building
from tests import documents

Document = dict[str, Any]
INCH = 25.4


def far_out(document: Document) -> None:
    """One rod 60 mm along; concrete placed a month before the readings."""
    document["concrete"]["placed_on"] = "2026-03-20"
    documents.off_by(document, "offset:B2.3", 60.0)


def screened(change: Any = far_out) -> Document:
    result = evaluate(parse_building(documents.shed(change)))
    finding = next(f for f in result["findings"] if f["finding"] == "position:B2")
    # A replacement that fails its screen is left to the engineer, screen attached.
    return next(r for r in finding["remedies"] if r.get("rods"))


def condition(remedy: Document, name: str) -> Document:
    return next(c for c in remedy["rods"][0]["conditions"] if c["name"] == name)


def test_only_the_rod_that_is_out_is_screened_and_it_is_headed_so() -> None:
    remedy = screened()
    assert [rod["rod"] for rod in remedy["rods"]] == [3]
    assert remedy["heading"].startswith("A screen, not a design")
    assert any("12 diameters" in each for each in remedy["assumptions"])
    assert remedy["approval"] == "engineer"


def test_the_old_stub_is_as_far_as_the_rod_missed_by() -> None:
    stub = condition(screened(), "spacing to the old stub")
    # ACI 318-19 17.9.2(a): six diameters; 60 mm of a 7/8 in rod is 2.7
    assert stub["value"] == pytest.approx(60.0 / (0.875 * INCH), rel=1e-6)
    assert (stub["least"], stub["outcome"]) == (6.0, "fail")


def test_neighbours_are_taken_as_they_stand() -> None:
    near = condition(screened(), "spacing to the nearest rod")
    # rods of the detail stand 4 1/2 in apart along and 5 in inward
    assert near["value"] == pytest.approx(4.5 / 0.875, rel=1e-6)


def test_the_edge_is_the_nearest_steel_line() -> None:
    edge = condition(screened(), "edge distance")
    # rods 3 and 4 stand 11 in inward of the wall
    assert edge["value"] == pytest.approx(11.0 / 0.875, rel=1e-6)
    assert edge["outcome"] == "pass"


def test_age_counts_to_the_day_the_position_was_last_read() -> None:
    age = condition(screened(), "concrete age")
    assert (age["value"], age["outcome"]) == (31.0, "pass")


def test_what_nobody_said_is_unknown_and_never_passed() -> None:
    def change(document: Document) -> None:
        far_out(document)
        del document["concrete"]["placed_on"]

    remedy = screened(change)
    assert condition(remedy, "concrete age")["outcome"] == "unknown"
    assert condition(remedy, "concrete temperature")["value"] is None
    assert remedy["rods"][0]["strengths"]["steel_n"] is None


def test_basic_strengths_are_those_of_twelve_diameters_by_hand() -> None:
    strengths = screened()["rods"][0]["strengths"]
    # ACI 318-19 17.6.2.2.1 in psi, in, lb: 17 sqrt(3500) (10.5)^1.5
    # 17.6.5.2.1: 200 psi pi da hef
    pound = 4.4482216152605
    breakout = 17 * 3500**0.5 * 10.5**1.5 * pound
    bond = 200 * 3.141592653589793 * 0.875 * 10.5 * pound
    assert strengths["breakout_n"] == pytest.approx(breakout, rel=1e-6)
    assert strengths["bond_n"] == pytest.approx(bond, rel=1e-6)


def test_unequal_rods_take_the_washer_of_the_largest() -> None:
    def change(document: Document) -> None:
        rods = document["details"]["M"]["rods"]
        rods[0]["diameter"], rods[1]["diameter"] = '1"', '3/4"'
        documents.off_by(document, "offset:B2.3", 9.0)

    result = evaluate(parse_building(documents.shed(change)))
    finding = next(f for f in result["findings"] if f["finding"] == "position:B2")
    ream = next(r for r in finding["remedies"] if r["remedy"] == "ream")
    # AISC Design Guide 1 Table 2.3 (secondary): 3/8 in thick for a 1 in rod
    assert ream["washer"]["thickness"] >= 0.375 * INCH - 1e-9
    assert ream["washer"]["size"] >= 2.0 * ream["hole_diameter"] - 0.75 * INCH - 1e-6
