"""Drawings of what the program really computes, from readings on the sample plans."""

from collections.abc import Callable
from typing import Any

import pytest

from checks.drawings.judged import Judged
from checks.drawings.outline import outline_drawing
from checks.drawings.pattern import pattern_drawing
from checks.drawings.profile import profile_drawings
from checks.drawings.svg import svg
from checks.evaluation.evaluate import evaluate
from jobs.plan.model import Building, Plan, Reading
from jobs.plan.sheet import Check, Kind, check_sheet
from tests.checks.drawings import samples

PLANS = [samples.rectangle(), samples.l_shape(), samples.metric()]
LENGTHS = {
    Kind.DIAGONAL, Kind.WALL, Kind.LINE, Kind.SETBACK, Kind.OFFSET, Kind.PROJECTION,
    Kind.LEVEL,
}  # fmt: skip


def measured(
    plan: Plan, wanted: Callable[[Check], bool], off: dict[str, float]
) -> dict[str, Any]:
    """What is computed of a building that is as planned but for `off`. [mm]"""
    readings = tuple(
        Reading(
            id=str(number),
            check=check.key,
            value=(check.nominal or 1500.0) + off.get(check.key, 0.0),
            text="as read",
            resolution=1.0,
        )
        for number, check in enumerate(check_sheet(plan))
        if check.kind in LENGTHS and wanted(check)
    )
    return evaluate(Building(plan=plan, readings=readings))


@pytest.mark.parametrize("plan", PLANS)
def test_a_building_measured_throughout_is_drawn_throughout(plan: Plan) -> None:
    result = measured(plan, lambda check: True, {})
    drawing = outline_drawing(plan, result)
    assert {place.verdict for place in drawing.places} == {"within"}
    assert all(len(place.built) == len(place.planned) for place in drawing.places)
    for position in plan.positions:
        pattern = pattern_drawing(plan, position.mark, result)
        assert all(rod.built for rod in pattern.rods)
        assert not any(hole.fouled for hole in pattern.holes)
        assert svg("pattern", pattern, "imperial")
    assert len(profile_drawings(plan, result)) >= 2


@pytest.mark.parametrize("plan", PLANS)
@pytest.mark.parametrize(
    "kinds", [{Kind.DIAGONAL}, {Kind.SETBACK}, {Kind.LEVEL}, {Kind.WALL, Kind.OFFSET}]
)
def test_a_building_measured_in_part_is_drawn_without_inventing_the_rest(
    plan: Plan, kinds: set[Kind]
) -> None:
    result = measured(plan, lambda check: check.kind in kinds, {})
    drawing = outline_drawing(plan, result)
    assert svg("outline", drawing, "metric")
    assert {place.verdict for place in drawing.places} == {"unmeasured"}
    assert not any(place.built for place in drawing.places)
    assert svg(
        "pattern", pattern_drawing(plan, plan.positions[0].mark, result), "metric"
    )


def test_the_plan_names_outside_just_what_the_findings_do() -> None:
    plan = samples.rectangle()
    off = {"setback:S2.1": 5.0, "offset:N3.2": -4.0, "line:E1": 6.0, "level:S4": 8.0}
    result = measured(plan, lambda check: True, off)
    drawing = outline_drawing(plan, result)
    outside = {f"position:{p.mark}" for p in drawing.places if p.verdict == "outside"}
    found = {finding["finding"] for finding in result["findings"]}
    assert (
        outside == found - {"level:S4"} == {f"position:{m}" for m in ("S2", "N3", "E1")}
    )


def test_hole_and_rod_foul_in_the_drawing_just_when_the_plate_does_not_go_on() -> None:
    plan = samples.rectangle()
    for miss in (1.0, 2.0, 4.0, 6.0, 9.0):
        result = measured(plan, lambda check: True, {"offset:S2.1": miss})
        fits = Judged(result).positions["S2"]["plate_fit"]["fits"]
        drawing = pattern_drawing(plan, "S2", result)
        assert any(hole.fouled for hole in drawing.holes) is not fits
