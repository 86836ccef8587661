"""Remedies for misplaced rods where the plain order is not enough."""

import math
from typing import Any

import pytest

from checks.evaluation.evaluate import evaluate
from core.units import format_length, parse_length
from jobs.exchange.input.parser import parse_building
from tests import documents

Document = dict[str, Any]
INCH = 25.4
EIGHTH = INCH / 8.0
PLAN = [(a * INCH, b * INCH) for b in (6.0, 11.0) for a in (-2.25, 2.25)]


def result_of(change: Any) -> Document:
    """Evaluate the changed shed, each reading confirmed by another crew."""
    return evaluate(parse_building(documents.confirm(documents.shed(change))))


def finding(change: Any, topic: str = "position:A2") -> Document:
    found = result_of(change)["findings"]
    return next(each for each in found if each["finding"] == topic)


def remedy(found: Document, name: str) -> Document:
    return next(each for each in found["remedies"] if each["remedy"] == name)


def ruled_out(found: Document) -> dict[str, str]:
    return {each["remedy"]: each["reason"] for each in found["ruled_out"]}


def move(
    document: Document, rod: int, along: float, inward: float = 0.0, mark: str = "A2"
) -> None:
    """Read a rod this much further along and in. [mm]"""
    documents.off_by(document, f"offset:{mark}.{rod}", along)
    documents.off_by(document, f"setback:{mark}.{rod}", inward)


def turn_group(document: Document, degrees: float, mark: str = "A2") -> None:
    """Read the rods of a mark where the pattern turned about its middle has them."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    middle = 8.5 * INCH
    for rod, (a, b) in enumerate(PLAN, 1):
        x, y = c * a - s * (b - middle), s * a + c * (b - middle) + middle
        move(document, rod, x - a, y - b, mark)


# ---- a plate that goes on only turned ------------------------------------------------


HALF_DEGREE = math.radians(0.5)
RADIUS = math.hypot(2.25, 2.5) * INCH  # of the outermost hole, of 4 1/2 by 5 in
CLEARANCE = 3 / 32 * INCH


def short_of_rods(degrees: float) -> float:
    """Distance of the outermost rods from a plate turned half a degree. [mm]"""
    return 2.0 * RADIUS * math.sin((math.radians(abs(degrees)) - HALF_DEGREE) / 2.0)


@pytest.mark.parametrize("degrees", [2.5, 4.0, -6.0])
def test_a_group_that_stands_turned_is_no_shift_the_field_may_make(degrees: float):
    found = finding(lambda d: turn_group(d, degrees))
    assert "remeasure" not in [each["remedy"] for each in found["remedies"]]
    assert f"turned {abs(degrees):.2f}°" in ruled_out(found)["shift"]
    assert "turned by 0.5°" in ruled_out(found)["shift"]
    first = found["remedies"][0]
    assert (first["remedy"], first["approval"]) == ("ream", "engineer")
    assert first["reason"].startswith("The plate fits as punched only when turned")
    # Turned half a degree towards them, the farthest hole stays short of its rod by
    # the rest of the way, on the chord. The rods are 7/8 in.
    short = short_of_rods(degrees)
    assert first["hole_diameter"] == pytest.approx(7 / 8 * INCH + 2 * short, abs=1e-4)
    assert abs(first["turn"]) == pytest.approx(HALF_DEGREE, rel=1e-9)
    assert "the plate fits, turned 0.5°" in first["reason"]


def test_two_groups_turned_the_opposite_way_are_found_though_every_rod_is_within():
    def change(document: Document) -> None:
        for mark, degrees in (("A2", 2.5), ("A3", -2.5)):
            turn_group(document, degrees, mark)

    result = result_of(change)
    assert {r["verdict"] for p in result["positions"] for r in p["rods"]} == {"within"}
    assert {each["finding"] for each in result["findings"]} == {
        "position:A2",
        "position:A3",
    }
    for position in result["positions"]:
        fit = position["plate_fit"]
        turned = position["mark"] in ("A2", "A3")
        assert fit["fits"]  # somewhere: turned by 2.5 degrees
        assert fit["bounded"]["fits"] == (not turned)
        assert abs(fit["bounded"]["turn"]) <= HALF_DEGREE + 1e-12
        if turned:
            over = short_of_rods(2.5) - CLEARANCE
            assert fit["bounded"]["overrun"] == pytest.approx(over, abs=1e-6)
            assert fit["bounded"]["hole_needed"] == pytest.approx(
                (7 / 8 + 3 / 16) * INCH + 2 * over, abs=1e-6
            )


def test_a_building_may_allow_a_column_to_turn_further():
    def change(document: Document) -> None:
        document["tolerances"]["overrides"] = {"column_turn": "2 deg"}
        turn_group(document, 2.5)

    assert result_of(change)["findings"] == []


def test_a_plate_that_goes_on_only_beyond_the_line_tolerance_is_a_finding():
    # Line and offsets each within 1/8 in, the same way: the rods are 6 mm off together.
    def change(document: Document) -> None:
        documents.off_by(document, "line:A2", 3.0)
        for rod in range(1, 5):
            move(document, rod, 3.0)

    result = result_of(change)
    found = next(p for p in result["positions"] if p["mark"] == "A2")["plate_fit"]
    assert found["fits"]
    assert found["bounded"]["overrun"] == pytest.approx(
        6.0 - EIGHTH - CLEARANCE, abs=1e-6
    )
    (only,) = result["findings"]
    assert only["finding"] == "position:A2"
    assert "shifted" in ruled_out(only)["shift"]


def test_a_group_turned_a_quarter_is_set_anew_and_not_called_a_shift():
    found = finding(lambda d: turn_group(d, 90.0))
    assert "turned 90.00° counter-clockwise" in ruled_out(found)["shift"]
    names = [each["remedy"] for each in found["remedies"]]
    assert names == ["new_plate", "refer"]
    assert found["approval"] == "engineer"


def test_a_turn_a_column_may_have_is_a_shift_that_says_so():
    def change(document: Document) -> None:
        turn_group(document, 1.5)
        move(document, 1, 1.6)

    found = finding(change)
    first = found["remedies"][0]
    assert (first["remedy"], first["approval"]) == ("shift", "field")
    assert "turned" in first["reason"]
    assert 0.0 < first["turn"] <= HALF_DEGREE + 1e-12


# ---- a plate that does not go on though all is within --------------------------------


def tight(document: Document) -> None:
    """Holes no larger than the rods, two rods 3 mm apart from each other."""
    document["details"]["M"]["plate"]["hole_diameter"] = '7/8"'
    move(document, 1, -3.0)
    move(document, 2, 3.0)


def test_a_plate_that_does_not_go_on_is_a_finding_though_every_rod_is_within():
    result = result_of(tight)
    assert {rod["verdict"] for p in result["positions"] for rod in p["rods"]} == {
        "within"
    }
    assert {each["finding"] for each in result["findings"]} == {"position:A2"}
    found = finding(tight)
    assert [r["remedy"] for r in found["remedies"]] == [
        "ream",
        "slot",
        "refer",
    ]
    needed = (7 / 8) * INCH + 2 * 3.0
    assert found["remedies"][0]["hole_diameter"] == pytest.approx(needed)
    assert {check.split(":")[0] for check in found["checks"]} == {"setback", "offset"}
    # 3 mm from the old stub no drill passes, and no spacing is kept
    assert "drill clear of the old stub" in ruled_out(found)["re_anchor"]
    assert "rod 1" in ruled_out(found)["re_anchor"]


def test_a_tolerance_wider_than_the_hole_lets_no_plate_pass_in_silence():
    # ACI 117-10 2.3.4.2: 1/4 in for 7/8 in rods; the holes leave 3/32 in
    def change(document: Document) -> None:
        document["tolerances"]["basis"] = "aci-117-2010"
        move(document, 1, 6.0)
        move(document, 2, -6.0)

    assert finding(change)["approval"] == "engineer"


# ---- what is written is enough -------------------------------------------------------


@pytest.mark.parametrize("off", [8.0, 9.3, 10.1, 12.0, 13.7])
def test_a_hole_is_never_written_smaller_than_the_plate_needs(off: float):
    found = finding(lambda d: move(d, 1, off))
    ream = remedy(found, "ream")
    said = ream["reason"].removeprefix("With all holes enlarged to ").split(" the")[0]
    assert "turned" in ream["reason"] or abs(ream["turn"]) < math.radians(0.05)
    ordered, exact = said.removesuffix(")").split(" (exact need ")
    mm = float(parse_length(ordered).mm)
    assert mm == pytest.approx(ream["ordered_diameter"], abs=1e-5)
    assert ream["hole_diameter"] <= mm + 1e-5
    assert mm < ream["hole_diameter"] + INCH / 16.0
    assert ream["hole_diameter"] <= float(parse_length(exact).mm) + 1e-5


def test_slots_are_along_an_axis_and_say_the_same_length_everywhere():
    found = finding(lambda d: move(d, 1, 10.1, 5.0))
    slot = remedy(found, "slot")
    for each in slot["slots"]:
        assert each["axis"] in ("along", "in")
        assert math.remainder(each["direction"], math.pi / 2.0) == 0.0
        assert each["exact_length"] == pytest.approx(each["width"] + each["extension"])
        # 1/16 in of clearance at both ends, rounded up to the next 1/16 in
        least = each["exact_length"] + INCH / 8.0
        assert least - 1e-6 <= each["length"] < least + INCH / 16.0
        assert (each["length"] / INCH * 16.0) % 1.0 == pytest.approx(0.0, abs=1e-9)
        assert each["ahead"] + each["behind"] + each["width"] == pytest.approx(
            each["length"]
        )
        assert format_length(each["length"], "imperial") in slot["reason"]
    assert abs(slot["turn"]) <= HALF_DEGREE + 1e-12
    longest = max(each["length"] for each in slot["slots"])
    assert slot["washer"]["size"] >= 2.0 * longest - 7 / 8 * INCH - 1e-6


def test_a_group_off_both_ways_has_no_slots():
    # A hole is slotted along one axis, and the other way no plate may move so far.
    def move_all(document: Document) -> None:
        for rod in range(1, 5):
            move(document, rod, 15.0, 15.0)

    found = finding(move_all)
    assert ruled_out(found)["slot"] == (
        "No set of slots along the plate's axes lets the plate fit."
    )


def test_a_rod_just_past_an_inch_is_not_said_to_be_an_inch():
    found = finding(lambda d: move(d, 1, 25.5))
    said = remedy(found, "refer")["reason"].removeprefix("A rod is ")
    assert parse_length(said.split(" from")[0]).mm > 25.4


@pytest.mark.parametrize(
    ("projection", "short_in"), [('1 3/4"', 0.0725), ('1 7/8"', 0.0)]
)
def test_the_thread_is_checked_with_the_washer_that_the_remedy_brings(
    projection: str, short_in: float
):
    # 1 3/4 in less a 5/8 in plate, a 5/16 in plate washer and a nut of 0.885 in
    def change(document: Document) -> None:
        for rod in document["details"]["M"]["rods"]:
            rod["projection"] = projection
        for reading in document["readings"]:
            if reading["check"].startswith("projection"):
                reading["value"] = projection
        move(document, 1, 8.0)

    ream = remedy(finding(change), "ream")
    assert ream["washer"]["thickness"] == pytest.approx(5 / 16 * INCH)
    left = float(parse_length(projection).mm) - (5 / 8 + 5 / 16 + 0.885) * INCH
    assert ream["thread_left"] == pytest.approx(left, abs=1e-6)
    assert ("lacks" in ream["reason"]) == (short_in > 0.0)


# ---- which rods are set anew ---------------------------------------------------------


def test_a_rod_that_is_within_is_not_cut_off_beside_one_that_is_out():
    def change(document: Document) -> None:
        move(document, 1, 3.0, 3.0)  # 4.2 mm from the plan, 1/8 in neither way
        move(document, 4, 30.0)

    anew = remedy(finding(change), "refer")
    assert [rod["rod"] for rod in anew["rods"]] == [4]


def test_where_the_line_is_out_every_rod_that_is_out_with_it_is_set_anew():
    found = finding(lambda d: documents.off_by(d, "line:A2", 38.1))
    assert [rod["rod"] for rod in remedy(found, "refer")["rods"]] == [1, 2, 3, 4]


@pytest.mark.parametrize("off", [20.0, 30.0])
def test_without_a_plate_a_replacement_is_screened_beyond_an_inch(off: float):
    def change(document: Document) -> None:
        del document["details"]["M"]["plate"]
        move(document, 3, off)

    found = finding(change)
    (refer,) = found["remedies"]
    assert "no base plate" in refer["reason"]
    if off > INCH:
        assert [rod["rod"] for rod in refer["rods"]] == [3]
        assert "spacing to the old stub" in ruled_out(found)["re_anchor"]


def re_anchored(off: float) -> Document:
    plan = documents.set_rods_apart(documents.plan())
    document = documents.read_perfectly(plan)
    move(document, 4, off)
    found = evaluate(parse_building(documents.confirm(document)))["findings"]
    return next(each for each in found if each["finding"] == "position:A2")


def test_a_rod_is_re_anchored_where_its_screen_passes():
    # six diameters of 7/8 in are 5 1/4 in: the old stub must be as far
    found = re_anchored(5.5 * INCH)
    assert "re_anchor" in [each["remedy"] for each in found["remedies"]]
    assert [rod["rod"] for rod in remedy(found, "re_anchor")["rods"]] == [4]


def test_a_rod_whose_stub_is_too_near_is_left_to_the_engineer():
    found = re_anchored(5.0 * INCH)
    assert "re_anchor" not in [each["remedy"] for each in found["remedies"]]
    reason = ruled_out(found)["re_anchor"]
    assert "rod 4, spacing to the old stub 5.7 of 6 rod diameters" in reason
    assert "drill" not in reason  # it would pass, well clear of the stub


# ---- before the pour -----------------------------------------------------------------


def test_before_the_pour_rods_are_moved_and_nothing_is_cut():
    def change(document: Document) -> None:
        document["concrete"]["placed_on"] = "2026-05-01"  # read on 20 April
        move(document, 1, 12.0)

    found = finding(change)
    assert [each["remedy"] for each in found["remedies"]] == ["remeasure", "refer"]
    assert "before the pour" in found["remedies"][0]["reason"]
    assert set(ruled_out(found)) == {"shift", "ream", "slot", "re_anchor", "new_plate"}


def test_on_the_day_of_the_pour_it_is_too_late_to_move_them():
    def change(document: Document) -> None:
        document["concrete"]["placed_on"] = "2026-04-20"
        move(document, 1, 12.0)

    assert finding(change)["remedies"][0]["remedy"] == "ream"


# ---- rules on groups -----------------------------------------------------------------


def of_wall(result: Document, rule: str) -> list[Document]:
    rules = result["group_rules"]
    return [r for r in rules if (r["rule"], r["where"]) == (rule, "SW-SE")]


def test_groups_with_an_unmeasured_one_between_them_are_no_neighbours():
    # AISC 303 (2010) 7.5.1: neighbours 1/4 in by (b), groups 48 ft apart 0.12 in by
    # (d), floored at the rule of neighbours
    def change(document: Document) -> None:
        document["tolerances"]["basis"] = "aisc-303-2010"
        documents.off_by(document, "line:A1", -3.3)
        documents.off_by(document, "line:A3", 3.3)
        document["readings"].remove(documents.reading_of(document, "line:A2"))

    result = result_of(change)
    assert of_wall(result, "adjacent_groups") == []
    (found,) = of_wall(result, "accumulated")
    assert found["marks"] == ["A1", "A3"]
    assert found["deviation"] == pytest.approx(6.6)
    assert found["limit"] == pytest.approx(0.25 * INCH)
    assert found["verdict"] == "outside"


@pytest.mark.parametrize(("off", "word"), [(2.9, "unmeasured"), (3.1, "outside")])
def test_a_group_whose_line_was_not_measured_is_never_within(off: float, word: str):
    def change(document: Document) -> None:
        document["tolerances"]["basis"] = "en-1090-2-2008"
        for rod in range(1, 5):
            move(document, rod, off)
        document["readings"].remove(documents.reading_of(document, "line:A2"))

    rules = result_of(change)["group_rules"]
    verdicts = {r["rule"]: r["verdict"] for r in rules if r["where"] == "A2"}
    assert verdicts == {"group_centre": word, "rod_from_group_centre": "within"}


def test_a_rule_broken_within_a_group_names_its_rods():
    def change(document: Document) -> None:
        document["tolerances"]["basis"] = "aisc-303-2010"
        move(document, 1, -2.0)
        move(document, 2, 2.0)

    found = finding(change, "within_group:A2")
    assert found["remedies"][0]["reason"].startswith("A2 rods 1 and 2 are")
