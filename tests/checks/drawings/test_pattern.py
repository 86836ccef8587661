import math
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from checks.drawings.holes import PlatePlacement, place_holes
from checks.drawings.pattern import draw_pattern
from checks.drawings.svg import render_svg
from tests.checks.drawings import samples


def exact(mark: str, misses: list[tuple[float, float]]) -> tuple[Any, Any]:
    """A plan, and a result whose rods at `mark` are off by just these."""
    plan = samples.rectangle()
    result = samples.result(plan)
    (entry,) = (each for each in result["positions"] if each["mark"] == mark)
    for rod, (along, inward) in zip(entry["rods"], misses, strict=True):
        rod.update(
            {
                "along": rod["planned_along"] + along,
                "in": rod["planned_in"] + inward,
                "d_along": along,
                "d_in": inward,
            }
        )
    entry["plate_fit"] |= {"shift_along": 0.0, "shift_in": 0.0, "turn": 0.0}
    return plan, result


def test_holes_turn_about_their_middle_and_then_shift() -> None:
    planned = np.array([[-2.0, 9.0], [2.0, 9.0], [-2.0, 14.0], [2.0, 14.0]])
    placed = place_holes(planned, PlatePlacement(1.0, 0.5, math.pi / 2))
    # a quarter turn carries (-2, -2.5) about the middle (0, 11.5) to (2.5, -2)
    assert placed[0] == pytest.approx([3.5, 10.0])
    assert placed.mean(axis=0) == pytest.approx([1.0, 12.0])


def test_a_rod_that_does_not_pass_its_hole_marks_that_hole() -> None:
    # hole 15/16 in, rod 3/4 in: 2.38 mm of room
    plan, result = exact("S2", [(0, 0), (2.3, 0), (2.5, 0), (0, -2.4)])
    drawing = draw_pattern(plan, "S2", result)
    assert [hole.fouled for hole in drawing.holes] == [False, False, True, True]


def test_inward_is_up_and_along_is_to_the_right() -> None:
    plan, result = exact("S2", [(3.0, 2.0)] + [(0.0, 0.0)] * 3)
    rod = draw_pattern(plan, "S2", result).rods[0]
    assert rod.built is not None
    assert rod.built[0] > rod.x
    assert rod.built[1] < rod.y


def test_rods_and_holes_are_to_one_scale() -> None:
    plan, result = exact("S2", [(0.0, 0.0)] * 4)
    drawing = draw_pattern(plan, "S2", result)
    scale = (drawing.rods[1].x - drawing.rods[0].x) / (4 * 25.4)
    assert drawing.rods[0].radius == pytest.approx(0.375 * 25.4 * scale, abs=0.02)
    assert drawing.holes[0].radius == pytest.approx(0.46875 * 25.4 * scale, abs=0.02)


def test_a_target_shows_the_miss_at_the_scale_of_its_tolerance() -> None:
    plan, result = exact("S2", [(3.175, 0.0)] + [(0.0, 0.0)] * 3)
    target = draw_pattern(plan, "S2", result).targets[0]
    assert target.built is not None
    assert target.tolerance is not None
    right = target.tolerance[0] + target.tolerance[2]
    assert target.built[0] == pytest.approx(right, abs=0.11)  # just on the limit


def test_a_rod_far_off_is_drawn_at_the_edge_and_said_to_be_off() -> None:
    plan, result = exact("S2", [(300.0, 0.0)] + [(0.0, 0.0)] * 3)
    first, second, *_ = draw_pattern(plan, "S2", result).targets
    assert (first.off_scale, second.off_scale) == (True, False)


def test_a_rod_not_determined_is_not_drawn_as_built() -> None:
    plan = samples.rectangle()
    result = samples.result(plan, unmeasured=("S2",))
    drawing = draw_pattern(plan, "S2", result)
    assert all(rod.built is None for rod in drawing.rods)
    assert drawing.targets == ()


def test_the_proposed_slots_are_drawn_and_in_the_legend() -> None:
    plan, result = exact("S2", [(4.0, 0.0)] + [(0.0, 0.0)] * 3)
    slot = {"rod": 1, "extension": 1.7, "direction": None}
    result["findings"] = [
        {
            "finding": "position:S2",
            "remedies": [{"remedy": "slot", "slots": [slot]}],
        }
    ]
    drawing = draw_pattern(plan, "S2", result)
    assert [bool(hole.slot) for hole in drawing.holes] == [True, False, False, False]
    assert "proposed slot" in {entry.text for entry in drawing.legend}


@pytest.mark.parametrize("units", ["imperial", "decimal", "metric"])
def test_a_pattern_is_well_formed_in_every_unit(units: Any) -> None:
    plan = samples.l_shape()
    for mark in ("A2", "K1"):
        for result in (None, samples.result(plan)):
            drawing = draw_pattern(plan, mark, result, units=units)
            tree = ElementTree.fromstring(render_svg("pattern", drawing, units))  # noqa: S314 -- ours
            assert tree.get("role") == "img"
