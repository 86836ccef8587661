"""A plate punched to the rods: its place among the remedies, by the steel's state."""

from typing import Any

import numpy as np
import pytest

from checks.engine.remedies.new_plate import insert_new_plate
from checks.engine.remedies.remedy import (
    Remedy,
    propose_remeasurement,
    refer_to_engineer,
)
from checks.evaluation.evaluate import evaluate
from core.vocabulary import Approval, RemedyKind, SteelState
from jobs.exchange.input.parser import parse_building
from tests import documents

Document = dict[str, Any]
INCH = 25.4
STATES = ["detailing", "fabricated", "shipped"]


def found_with(steel: str, change: Any, *, confirmed: bool = True) -> Document:
    """Return the finding of A2 on the changed shed."""

    def change_all(document: Document) -> None:
        document["steel"] = steel
        change(document)

    document = documents.shed(change_all)
    if confirmed:
        documents.confirm(document)
    result = evaluate(parse_building(document))
    return next(each for each in result["findings"] if each["finding"] == "position:A2")


def names(found: Document) -> list[str]:
    return [each["remedy"] for each in found["remedies"]]


def remedy(found: Document, name: str = "new_plate") -> Document:
    return next(each for each in found["remedies"] if each["remedy"] == name)


def reason_against(found: Document) -> str:
    return next(
        each["reason"] for each in found["ruled_out"] if each["remedy"] == "new_plate"
    )


def one_rod_off(document: Document) -> None:
    documents.off_by(document, "setback:A2.1", 12.0)


def one_rod_far_off(document: Document) -> None:
    documents.off_by(document, "setback:A2.1", 29.0)


@pytest.mark.parametrize(
    ("steel", "order"),
    [
        ("detailing", ["new_plate", "ream", "slot", "refer"]),
        ("fabricated", ["ream", "slot", "new_plate", "refer"]),
        ("shipped", ["ream", "slot", "new_plate", "refer"]),
    ],
)
def test_the_state_of_the_steel_decides_where_a_new_plate_comes(
    steel: str, order: list[str]
) -> None:
    found = found_with(steel, one_rod_off)
    assert names(found) == order
    assert remedy(found)["approval"] == "engineer"
    assert "why_second" not in found["remedies"][0]
    assert all(each["why_second"] for each in found["remedies"][1:])


def test_opened_holes_come_second_because_the_plate_is_not_made() -> None:
    found = found_with("detailing", one_rod_off)
    assert "not made yet" in remedy(found, "ream")["why_second"]
    assert "not made yet" in remedy(found, "slot")["why_second"]


def test_shipped_steel_gets_a_new_plate_only_as_an_alternative() -> None:
    def nothing_else_will_do(document: Document) -> None:
        one_rod_far_off(document)
        # Too near an old stub to anchor again, too far out to open holes.
        document["tolerances"]["overrides"] = {"re_anchor_beyond": "28 mm"}

    found = found_with("shipped", nothing_else_will_do)
    assert names(found)[0] != "new_plate"
    assert "shipped" in remedy(found)["why_second"]
    found = found_with("fabricated", nothing_else_will_do)
    assert names(found)[0] == "new_plate"


def test_where_nothing_else_is_computed_shipped_steel_is_left_to_the_engineer() -> None:
    repeat = propose_remeasurement("In doubt.", ["setback:A2.1"])
    plate = Remedy(
        kind=RemedyKind.NEW_PLATE,
        approval=Approval.ENGINEER,
        reason="Punched to the rods.",
        cautions=(),
    )
    remedies = [repeat, refer_to_engineer("Other.")]
    kinds = {
        steel: [each.kind for each in insert_new_plate(remedies, plate, steel)]
        for steel in SteelState
    }
    assert kinds[SteelState.SHIPPED] == ["remeasure", "refer", "new_plate"]
    assert kinds[SteelState.FABRICATED] == ["remeasure", "new_plate", "refer"]
    assert kinds[SteelState.DETAILING] == ["remeasure", "new_plate", "refer"]


@pytest.mark.parametrize("steel", STATES)
def test_a_plate_that_fits_is_not_made_anew(steel: str) -> None:
    found = found_with(
        steel, lambda document: documents.off_by(document, "setback:A2.1", 4.0)
    )
    assert names(found)[0] == "shift"
    assert reason_against(found) == "The plate fits without it."


def test_a_new_plate_waits_for_a_repeat_of_the_readings() -> None:
    found = found_with("detailing", one_rod_off, confirmed=False)
    assert names(found)[:2] == ["remeasure", "new_plate"]
    assert found["remedies"][0]["follows"] == "new_plate"


def test_before_the_pour_rods_are_moved_and_no_plate_is_made() -> None:
    def change(document: Document) -> None:
        document["concrete"]["placed_on"] = "2026-05-01"  # read on 20 April
        one_rod_off(document)

    assert "Before the pour" in reason_against(found_with("detailing", change))


def test_the_holes_stand_where_the_rods_do() -> None:
    """By hand: a 8 by 8 1/2 in plate, rod 1 of it 12 mm inward of its hole."""
    found = found_with("detailing", one_rod_off)
    new = remedy(found)
    plate = new["plate"]
    # 4 1/2 and 5 in between planned holes, 1 3/4 in edge distance.
    assert (plate["width"], plate["depth"]) == pytest.approx((8 * INCH, 8.5 * INCH))
    assert plate["thickness"] == pytest.approx(5 / 8 * INCH)
    assert plate["growth"] == []
    # First corner: 4 in left of the reference line, 6 - 1 3/4 in from the steel line.
    assert plate["corner_along"] == pytest.approx(-4 * INCH)
    assert plate["corner_in"] == pytest.approx(4.25 * INCH)
    first = plate["holes"][0]
    assert (first["exact_x"], first["exact_y"]) == pytest.approx(
        (1.75 * INCH, 1.75 * INCH + 12.0), abs=1e-4
    )
    # 1 3/4 in + 12 mm = 2.2224 in; the next sixteenth is 2 1/4 in, 0.0276 in away.
    assert first["y"] == pytest.approx(2.25 * INCH)
    assert first["moved"] == pytest.approx(12.0, abs=1e-4)
    # (1 1/16 - 7/8) / 2 = 3/32 in of clearance, 0.0276 in of it taken.
    left = 3 / 32 - (2.25 - 1.75 - 12 / INCH)
    assert first["clearance_left"] == pytest.approx(left * INCH, abs=1e-4)
    assert plate["clearance_left"] == pytest.approx(first["clearance_left"])
    assert plate["eccentricity_in"] == pytest.approx(3.0, abs=1e-4)
    assert new["ordered_diameter"] == pytest.approx(17 / 16 * INCH)
    assert (new["edge_left"], new["edge_needed"]) == pytest.approx(
        (1.75 * INCH, 1.125 * INCH)
    )


def test_thread_and_washers_are_those_of_the_detail() -> None:
    found = found_with("detailing", one_rod_off)
    new = remedy(found)
    assert "washer" not in new
    assert "thread_left" not in new
    assert "washers and thread, stay" in new["reason"]
    assert not any("slotted or reamed" in caution for caution in new["cautions"])
    assert any("flanges" in caution for caution in new["cautions"])
    assert any("1926.752" in caution for caution in new["cautions"])


def test_a_plate_grows_where_an_edge_comes_too_near() -> None:
    def change(document: Document) -> None:
        document["details"]["M"]["plate"]["edge_distance"] = '1 1/4"'
        for rod in (2, 4):
            documents.off_by(document, f"offset:A2.{rod}", 10.0)

    new = remedy(found_with("detailing", change))
    # 1 1/4 in less 10 mm (0.394, laid out as 0.375) is 0.875 in; 1 1/8 in is needed.
    assert new["plate"]["growth"] == [{"side": "right", "by": pytest.approx(INCH / 4)}]
    assert new["plate"]["width"] == pytest.approx((4.5 + 2.5 + 0.25) * INCH)
    assert "larger than drawn" in new["reason"]
    assert "on its right" in new["reason"]
    assert any("girts" in caution for caution in new["cautions"])


def test_rods_that_stand_far_off_the_column_are_no_matter_of_a_plate() -> None:
    def change(document: Document) -> None:
        for rod in (1, 2, 3, 4):
            documents.off_by(document, f"offset:A2.{rod}", 40.0)

    reason = reason_against(found_with("detailing", change))
    assert "stand off its rods" in reason


def test_holes_that_come_too_near_to_each_other_rule_the_plate_out() -> None:
    def change(document: Document) -> None:
        document["details"]["M"]["plate"]["hole_diameter"] = '1 1/2"'
        document["tolerances"]["overrides"] = {"re_anchor_beyond": "200 mm"}
        documents.off_by(document, "offset:A2.1", 60.0)

    reason = reason_against(found_with("detailing", change))
    assert "AISC 360 J3.3" in reason


@pytest.mark.parametrize("steel", STATES)
def test_without_an_edge_distance_only_a_plate_not_made_is_laid_out(
    steel: str,
) -> None:
    def change(document: Document) -> None:
        del document["details"]["M"]["plate"]["edge_distance"]
        one_rod_off(document)

    found = found_with(steel, change)
    if steel == "detailing":
        plate = remedy(found)["plate"]
        assert not plate["size_known"]
        assert "the plate's drawing governs" in remedy(found)["reason"]
    else:
        assert "no edge distance" in reason_against(found)


def test_a_metric_building_gets_whole_millimetres() -> None:
    def change(document: Document) -> None:
        document["length_unit"] = "mm"
        one_rod_off(document)

    plate = remedy(found_with("detailing", change))["plate"]
    assert plate["increment"] == 1.0
    ordinates = np.array([[hole["x"], hole["y"]] for hole in plate["holes"]])
    assert ordinates == pytest.approx(np.round(ordinates))
