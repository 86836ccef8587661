"""Tolerance bases, overrides and concrete as `evaluate` applies them.

Limits are written here again from the published clauses, each clause beside its own.
"""

import math
from typing import Any

import numpy as np
import pytest

from tests.published.contract import (
    FOOT,
    INCH,
    PSI,
    SQUARE,
    Document,
    building,
    check,
    evaluate_document,
    finding,
    position,
    read,
    read_rods,
    rods,
    topics,
)


def limit_of(basis: str, key: str, **detail: Any) -> float:
    document = building(tolerances={"basis": basis}, **detail)
    return float(check(evaluate_document(document), key)["limit"])


# ---- the bases --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("basis", "diameter", "inches"),
    [
        ("metal-building-practice", '3/4"', 1 / 8),  # common practice
        ("metal-building-practice", '2"', 1 / 8),
        ("aisc-303-2010", '1"', 1 / 8),  # 7.5.1(a)
        ("aci-117-2010", '3/4"', 1 / 4),  # 2.3.4.2
        ("aci-117-2010", '7/8"', 1 / 4),
        ("aci-117-2010", '1"', 3 / 8),
        ("aci-117-2010", "1.5 in", 3 / 8),
        ("aci-117-2010", "1.75 in", 1 / 2),
        ("aci-117-2010", "2.5 in", 1 / 2),
        ("aci-117-2010", '5/8"', 1 / 8),  # not listed: common practice
        ("aisc-303-2016", '7/8"', 1 / 4),  # reported to agree with ACI 117
        ("aisc-303-2016", "1.25 in", 3 / 8),
        ("en-1090-2-2008", '3/4"', 3 / INCH),  # D.2.20 by NSCS: 3 mm, cast solid
    ],
)
def test_rod_location_by_basis_and_diameter(
    basis: str, diameter: str, inches: float
) -> None:
    document = building(tolerances={"basis": basis})
    document["details"]["Q"]["rods"] = rods(*SQUARE, diameter=diameter)
    document["details"]["Q"]["plate"]["hole_diameter"] = '3 1/4"'
    result = evaluate_document(document)
    for key in ("setback:S.1", "offset:S.4"):
        assert check(result, key)["limit"] == pytest.approx(inches * INCH)


@pytest.mark.parametrize(
    ("basis", "low", "high"),
    [
        ("metal-building-practice", -12.7, 12.7),  # AISC 303 (2010) 7.5.1(c)
        ("aisc-303-2010", -12.7, 12.7),
        ("aci-117-2010", -12.7, 12.7),  # 2.3.4.1
        ("en-1090-2-2008", -5.0, 45.0),  # D.2.20 by NSCS, not adjustable
    ],
)
def test_projection_by_basis(basis: str, low: float, high: float) -> None:
    for off, word in (
        (low, "within"),
        (high, "within"),
        (low - 0.01, "outside"),
        (high + 0.01, "outside"),
    ):
        document = building(tolerances={"basis": basis})
        result = evaluate_document(
            read(document, "projection:S.1", f"{90 + off:.2f} mm")
        )
        assert check(result, "projection:S.1")["verdict"] == word


@pytest.mark.parametrize("basis", ["aisc-303-2010", "aci-117-2010", "en-1090-2-2008"])
def test_what_a_basis_does_not_say_is_common_practice(basis: str) -> None:
    assert limit_of(basis, "line:S") == pytest.approx(3.175)
    assert limit_of(basis, "level:S") == pytest.approx(3.175)
    assert limit_of(basis, "wall:A-B") == pytest.approx(24000 * 6.35 / 15240)


def test_every_limit_in_force_names_its_source() -> None:
    for basis in (
        "metal-building-practice",
        "aisc-303-2010",
        "aisc-303-2016",
        "aci-117-2010",
        "en-1090-2-2008",
    ):
        tolerances = evaluate_document(building(tolerances={"basis": basis}))[
            "tolerances"
        ]
        assert tolerances.pop("basis") == basis
        for rule in tolerances.values():
            assert rule["value"] > 0
            assert rule["source"]


# ---- where a rod is judged from --------------------------------------------------


def off_specified(
    basis: str, line: float, along: float, inward: float, **tolerances: Any
) -> Document:
    """Rod 1 of S off by `along` from its line and `inward`; the line off by `line`."""
    document = building(tolerances={"basis": basis, **tolerances})
    document["details"]["Q"]["rods"] = rods(*SQUARE, diameter='3/4"')
    read(document, "line:S", f"{8000 + line * INCH:.6f} mm")
    for number, (x, y) in enumerate(SQUARE, start=1):
        first = number == 1
        read(document, f"offset:S.{number}", f"{x + along * INCH * first:.6f} mm")
        read(document, f"setback:S.{number}", f"{y + inward * INCH * first:.6f} mm")
    return evaluate_document(document)


@pytest.mark.parametrize("basis", ["aci-117-2010", "aisc-303-2016"])
def test_a_rod_nearly_half_an_inch_off_its_specified_location_is_outside(
    basis: str,
) -> None:
    # line 1/8, offset and setback 1/4 in: each axis from the line within 1/4, and
    # hypot(3/8, 1/4) = 0.451 in from the specified location (ACI 117-10 2.3.4.2)
    result = off_specified(basis, 1 / 8, 1 / 4, 1 / 4)
    assert {c["verdict"] for c in result["checks"] if c["readings"]} == {"within"}
    rod = position(result, "S")["rods"][0]
    assert rod["miss"] == pytest.approx(math.hypot(3 / 8, 1 / 4) * INCH)
    assert rod["limit"] == pytest.approx(INCH / 4)
    assert rod["verdict"] == "outside"
    assert "line:S" in finding(result, "position:S")["checks"]
    rule = result["tolerances"]["rod_location"]
    assert (rule["location"], rule["measured_as"]) == ("specified", "distance")


@pytest.mark.parametrize(
    ("line", "along", "inward", "word"),
    [
        (0, 0.24, 0, "within"),
        (0, 0.18, 0.17, "within"),  # 0.248
        (0, 0.18, 0.18, "outside"),  # 0.2546 as a distance, 0.18 along each axis
        (-0.12, 0.24, 0.2, "within"),  # the line's deviation adds in, and takes off
        (0.12, 0.24, 0, "outside"),
    ],
)
def test_a_rod_is_judged_as_a_distance_with_its_line(
    line: float, along: float, inward: float, word: str
) -> None:
    result = off_specified("aci-117-2010", line, along, inward)
    assert position(result, "S")["rods"][0]["verdict"] == word


def test_without_its_line_a_rod_is_never_within_its_specified_location() -> None:
    document = building(tolerances={"basis": "aci-117-2010"})
    document["details"]["Q"]["rods"] = rods(*SQUARE, diameter='3/4"')
    read_rods(document, "S", [(x, y) for x, y in SQUARE])
    read(document, "setback:N.1", f"{150 + 0.3 * INCH:.6f} mm")
    result = evaluate_document(document)
    assert {r["verdict"] for r in position(result, "S")["rods"]} == {"unmeasured"}
    assert position(result, "N")["rods"][0]["verdict"] == "outside"


@pytest.mark.parametrize("basis", ["metal-building-practice", "aisc-303-2010"])
def test_other_bases_judge_each_axis_from_the_line_as_built(basis: str) -> None:
    result = off_specified(basis, 1 / 8, 1 / 8, 1 / 8)
    assert position(result, "S")["rods"][0]["verdict"] == "within"
    assert "location" not in result["tolerances"]["rod_location"]


def test_an_override_changes_the_amount_and_not_what_is_measured() -> None:
    overrides = {"rod_location": '1/2"'}
    result = off_specified("aci-117-2010", 1 / 8, 1 / 4, 1 / 4, overrides=overrides)
    assert position(result, "S")["rods"][0]["verdict"] == "within"
    beyond = off_specified("aci-117-2010", 1 / 8, 3 / 8, 1 / 4, overrides=overrides)
    assert position(beyond, "S")["rods"][0]["verdict"] == "outside"


def test_guarded_acceptance_takes_twice_the_uncertainty_off_the_distance() -> None:
    result = off_specified("aci-117-2010", 0, 0.12, 0.12, guarded=True)
    rod = position(result, "S")["rods"][0]
    assert rod["miss"] < rod["limit"]
    assert rod["verdict"] == "outside"


# ---- rules on groups -------------------------------------------------------------


def rows(*alongs: float, basis: str = "aisc-303-2010") -> Document:
    """Positions along wall A-B of a long hall, nothing read."""
    hall = [(0, 0), (60000, 0), (60000, 15000), (0, 15000)]
    return building(
        outline=[
            {"corner": "ABCD"[i], "x": x, "y": y} for i, (x, y) in enumerate(hall)
        ],
        positions=[
            {"mark": f"P{i}", "wall": "A-B", "along": along, "detail": "Q"}
            for i, along in enumerate(alongs)
        ],
        tolerances={"basis": basis},
    )


def built(document: Document, offsets: list[tuple[float, float]]) -> Document:
    """Each group moved as a whole by (along, in). [mm]"""
    for i, (along, inward) in enumerate(offsets):
        places = [(a, b + inward) for a, b in SQUARE]
        read_rods(document, f"P{i}", places)
        at = document["positions"][i]["along"] + along
        read(document, f"line:P{i}", at, temperature="20 degC")
    return document


def rule(result: Document, name: str, where: str) -> Document:
    (found,) = [
        each
        for each in result["group_rules"]
        if (each["rule"], each["where"]) == (name, where)
    ]
    return dict(found)


def test_neighbouring_groups_keep_a_quarter_inch() -> None:
    # 7.5.1(b): 1/4 in centre to centre of adjacent groups
    for gap, word in ((6.35, "within"), (6.36, "outside")):
        result = evaluate_document(
            built(rows(6000, 12000), [(-3.0, 0), (gap - 3.0, 0)])
        )
        found = rule(result, "adjacent_groups", "A-B")
        assert found["limit"] == pytest.approx(6.35)
        assert found["deviation"] == pytest.approx(gap, abs=1e-3)
        assert found["verdict"] == word
        assert ("adjacent_groups:A-B" in topics(result)) == (word == "outside")


def test_what_adds_up_keeps_a_quarter_inch_per_hundred_feet() -> None:
    # 7.5.1(d): 1/4 in per 100 ft, at most 1 in, over groups not next to each other
    document = rows(5000, 25000, 50000)
    result = evaluate_document(built(document, [(0, 0), (2.0, 0), (3.1, 0)]))
    found = rule(result, "accumulated", "A-B")
    assert found["limit"] == pytest.approx(45000 / (100 * FOOT) * 6.35)
    assert found["deviation"] == pytest.approx(3.1, abs=1e-6)
    assert found["verdict"] == "within"


def test_the_established_column_line_is_fitted_to_the_groups() -> None:
    # 7.5.1(e): 1/4 in to the line that is most representative of the centres: a line
    # that stands 20 mm in as a whole is no fault of any group
    alongs, ins = (5000, 20000, 35000, 50000), (20.0, 20.5, 28.0, 20.9)
    result = evaluate_document(built(rows(*alongs), [(0, value) for value in ins]))
    slope, shift = np.polyfit(alongs, ins, 1)
    off = np.array(ins) - slope * np.array(alongs) - shift
    found = rule(result, "group_to_line", "A-B")
    assert abs(found["deviation"]) == pytest.approx(np.abs(off).max(), abs=1e-6)
    assert found["marks"] == ["P2"]
    assert found["limit"] == pytest.approx(6.35)


def test_every_pair_that_breaks_a_rule_is_told_the_worst_first() -> None:
    # 7.5.1(b), 1/4 in: P1 stands off its line between two neighbours that do not
    offsets = [(0.0, 0.0), (8.0, 0.0), (0.5, 0.0), (0.5, 0.0)]
    result = evaluate_document(built(rows(6000, 12000, 18000, 24000), offsets))
    found = [r for r in result["group_rules"] if r["rule"] == "adjacent_groups"]
    assert [r["marks"] for r in found] == [["P0", "P1"], ["P1", "P2"]]
    assert [r["deviation"] for r in found] == pytest.approx([8.0, -7.5], abs=1e-3)
    reason = finding(result, "adjacent_groups:A-B")["remedies"][-1]["reason"]
    assert "P0 to P1" in reason
    assert "P1 to P2" in reason


def test_groups_whose_line_was_not_measured_are_not_neighbours_that_keep_the_rule() -> (
    None
):
    document = built(rows(6000, 12000), [(0.0, 0.0), (0.0, 0.0)])
    document["readings"] = [r for r in document["readings"] if r["check"] != "line:P1"]
    told = {each["rule"] for each in evaluate_document(document)["group_rules"]}
    assert "group_to_line" in told  # square to the wall: no line is needed
    assert "adjacent_groups" not in told


def test_two_groups_at_one_place_do_not_stop_the_rules() -> None:
    result = evaluate_document(built(rows(9000, 9000, 20000), [(0, 0), (0, 1), (0, 0)]))
    assert rule(result, "group_to_line", "A-B")["verdict"] == "within"


def test_rods_of_a_group_keep_an_eighth_between_any_two() -> None:
    # 7.5.1(a), all pairs: each offset and setback within, the diagonal pair is not
    places = [(-62.5, 147.5), *SQUARE[1:3], (62.5, 272.5)]
    document = read_rods(rows(6000), "P0", places)
    result = evaluate_document(document)
    found = rule(result, "within_group", "P0")
    want = math.dist(places[0], places[3]) - math.dist(SQUARE[0], SQUARE[3])
    assert found["deviation"] == pytest.approx(want)
    assert found["verdict"] == "outside"
    first = finding(result, "within_group:P0")["remedies"][0]
    assert first["remedy"] == "refer"


def test_en_1090_holds_the_groups_centre_and_each_bolt_in_it() -> None:
    document = rows(6000, basis="en-1090-2-2008")
    places = [(a + 2.9, b) for a, b in SQUARE]
    result = evaluate_document(read_rods(document, "P0", places))
    assert rule(result, "group_centre", "P0")["deviation"] == pytest.approx(2.9)
    assert rule(result, "rod_from_group_centre", "P0")["verdict"] == "within"
    places = [(a + 3.01, b) for a, b in SQUARE]
    document = rows(6000, basis="en-1090-2-2008")
    result = evaluate_document(read_rods(document, "P0", places))
    assert rule(result, "group_centre", "P0")["verdict"] == "outside"


def test_practice_and_aci_have_no_rules_on_groups() -> None:
    for basis in ("metal-building-practice", "aci-117-2010", "aisc-303-2016"):
        result = evaluate_document(
            built(rows(6000, 12000, basis=basis), [(0, 0), (3, 0)])
        )
        assert result["group_rules"] == []


# ---- overrides ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "value", "where", "limit"),
    [
        ("diagonals", '3/8"', "diagonal:A-C", 9.525),  # flat, whatever the length
        ("wall", "5 mm", "wall:B-C", 5.0),
        ("wall_floor", "8 mm", "wall:B-C", 8.0),
        ("wall_floor", "0 mm", "wall:B-C", 15000 * 6.35 / 15240),
        ("line", '1/4"', "line:S", 6.35),
        ("rod_location", '3/16"', "offset:S.2", 4.7625),
        ("projection", '1/4"', "projection:S.1", 6.35),
        ("pad_level", "2 mm", "level:S", 2.0),
        ("notch", "3 mm", "notch_width:A-B", 3.0),
    ],
)
def test_a_building_may_override_any_value(
    key: str, value: str, where: str, limit: float
) -> None:
    document = building(
        tolerances={"overrides": {key: value}},
        notch={"width": "40 mm", "depth": "40 mm"},
    )
    result = evaluate_document(document)
    assert check(result, where)["limit"] == pytest.approx(limit)
    named = "wall" if key == "wall_floor" else key
    assert "override" in result["tolerances"][named]["source"]


def test_a_flat_limit_for_the_diagonals_holds_for_their_difference() -> None:
    document = building(tolerances={"overrides": {"diagonals": "5 mm"}})
    read(document, "diagonal:A-C", "28302 mm")
    read(document, "diagonal:B-D", "28297.5 mm")
    square = evaluate_document(document)["squareness"]
    assert (square["limit"], square["verdict"]) == (5, "within")


def test_shims_go_as_far_as_the_building_says() -> None:
    document = building(tolerances={"overrides": {"shim_up_to": "1 in"}})
    read(read(document, "level:S", 1420), "level:E", 1400)
    assert (
        finding(evaluate_document(document), "level:S")["remedies"][0]["remedy"]
        == "shim"
    )


# ---- concrete ----------------------------------------------------------------------


def concrete(document: Document, *samples: tuple[str, str, str | None]) -> Document:
    for name, value, day in samples:
        at = {} if day is None else {"at": f"{day}T12:00:00Z"}
        read(document, f"strength:{name}", value, **at)
    return evaluate_document(document)


@pytest.mark.parametrize(
    ("value", "word"), [("18.75 MPa", "within"), ("18.74 MPa", "outside")]
)
def test_three_quarters_of_the_specified_strength_opens_the_gate(
    value: str, word: str
) -> None:
    # 29 CFR 1926.752(a)(1): 0.75 x 25 = 18.75
    result = concrete(building(), ("F1", value, "2026-03-09"))
    assert result["concrete"]["verdict"] == word
    assert result["concrete"]["ratio"] == pytest.approx(float(value[:5]) / 25)
    assert check(result, "strength:F1")["verdict"] == word
    assert topics(result) == (["strength"] if word == "outside" else [])


def test_the_gate_is_the_same_in_psi() -> None:
    document = building(concrete={"specified_strength": "3000 psi"})
    result = concrete(document, ("F1", "2250 psi", None))
    assert result["concrete"]["verdict"] == "within"
    assert result["concrete"]["strength"] == pytest.approx(2250 * PSI)


def test_the_engineers_sufficient_strength_is_the_other_route() -> None:
    document = building(
        concrete={"specified_strength": "25 MPa", "sufficient_strength": "15 MPa"}
    )
    result = concrete(document, ("F1", "15 MPa", None))
    assert result["concrete"]["verdict"] == "within"
    assert result["concrete"]["route"] == "sufficient"
    assert check(result, "strength:F1")["verdict"] == "within"


def test_a_sufficient_strength_alone_is_a_gate_too() -> None:
    document = building(concrete={"sufficient_strength": "15 MPa"})
    result = concrete(document, ("F1", "14 MPa", None))
    assert result["concrete"]["verdict"] == "outside"
    assert result["concrete"]["ratio"] is None
    assert check(result, "strength:F1")["verdict"] == "outside"
    first = finding(result, "strength")["remedies"][0]
    assert first["remedy"] == "wait_for_strength"
    assert "nan" not in first["reason"]


def test_the_latest_samples_count_and_the_poorest_of_them() -> None:
    early = (("F1", "12 MPa", "2026-03-05"), ("F2", "30 MPa", "2026-03-05"))
    late = (("F3", "19 MPa", "2026-03-12"), ("F4", "21 MPa", "2026-03-12"))
    result = concrete(building(), *late, *early)
    assert result["concrete"]["verdict"] == "within"
    assert result["concrete"]["strength"] == pytest.approx(19)
    assert result["concrete"]["samples"] == ["strength:F3", "strength:F4"]


def test_a_sample_name_used_again_counts_by_its_latest_day() -> None:
    result = concrete(
        building(), ("F", "12 MPa", "2026-03-05"), ("F", "20 MPa", "2026-03-12")
    )
    assert result["concrete"]["strength"] == pytest.approx(20)
    assert result["concrete"]["verdict"] == "within"


def test_without_a_strength_to_reach_samples_are_not_judged() -> None:
    result = concrete(building(concrete={}), ("F1", "30 MPa", None))
    assert result["concrete"]["verdict"] == "unmeasured"
    assert check(result, "strength:F1")["verdict"] == "unmeasured"
    assert result["findings"] == []
