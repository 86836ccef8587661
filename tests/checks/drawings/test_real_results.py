"""Drawings of what the program really computes, from readings on the sample plans."""

from collections.abc import Callable
from typing import Any

import pytest

from checks.drawings.outline import draw_outline
from checks.drawings.pattern import draw_pattern
from checks.drawings.profile import draw_profiles
from checks.drawings.result_view import ResultView
from checks.drawings.svg import render_svg
from checks.evaluation.evaluate import evaluate
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import BuildingInput, Plan, ReadingValue
from tests.checks.drawings import samples

PLANS = [samples.rectangle(), samples.l_shape(), samples.metric()]
LENGTHS = {
    CheckKind.DIAGONAL,
    CheckKind.WALL,
    CheckKind.LINE,
    CheckKind.SETBACK,
    CheckKind.OFFSET,
    CheckKind.PROJECTION,
    CheckKind.LEVEL,
}


def evaluate_deviations(
    plan: Plan, wanted: Callable[[Check], bool], off: dict[str, float]
) -> dict[str, Any]:
    """Evaluate a building that is as planned but for `off`. [mm]"""
    readings = tuple(
        ReadingValue(
            id=str(number),
            check=check.key,
            value=(check.nominal or 1500.0) + off.get(check.key, 0.0),
            text="as read",
            resolution=1.0,
        )
        for number, check in enumerate(build_check_sheet(plan))
        if check.kind in LENGTHS and wanted(check)
    )
    return evaluate(BuildingInput(plan=plan, readings=readings))


@pytest.mark.parametrize("plan", PLANS)
def test_a_building_measured_throughout_is_drawn_throughout(plan: Plan) -> None:
    result = evaluate_deviations(plan, lambda check: True, {})
    drawing = draw_outline(plan, result)
    assert {place.verdict for place in drawing.positions} == {"within"}
    assert all(len(place.built) == len(place.planned) for place in drawing.positions)
    for position in plan.positions:
        pattern = draw_pattern(plan, position.mark, result)
        assert all(rod.built for rod in pattern.rods)
        assert not any(hole.fouled for hole in pattern.holes)
        assert render_svg("pattern", pattern, "imperial")
    assert len(draw_profiles(plan, result)) >= 2


@pytest.mark.parametrize("plan", PLANS)
@pytest.mark.parametrize(
    "kinds",
    [
        {CheckKind.DIAGONAL},
        {CheckKind.SETBACK},
        {CheckKind.LEVEL},
        {CheckKind.WALL, CheckKind.OFFSET},
    ],
)
def test_a_building_measured_in_part_is_drawn_without_inventing_the_rest(
    plan: Plan, kinds: set[CheckKind]
) -> None:
    result = evaluate_deviations(plan, lambda check: check.kind in kinds, {})
    drawing = draw_outline(plan, result)
    assert render_svg("outline", drawing, "metric")
    assert {place.verdict for place in drawing.positions} == {"unmeasured"}
    assert not any(place.built for place in drawing.positions)
    assert render_svg(
        "pattern", draw_pattern(plan, plan.positions[0].mark, result), "metric"
    )


def test_the_plan_names_outside_just_what_the_findings_do() -> None:
    plan = samples.rectangle()
    off = {"setback:S2.1": 5.0, "offset:N3.2": -4.0, "line:E1": 6.0, "level:S4": 8.0}
    result = evaluate_deviations(plan, lambda check: True, off)
    drawing = draw_outline(plan, result)
    outside = {
        f"position:{p.mark}" for p in drawing.positions if p.verdict == "outside"
    }
    found = {finding["finding"] for finding in result["findings"]}
    assert (
        outside == found - {"level:S4"} == {f"position:{m}" for m in ("S2", "N3", "E1")}
    )


def test_hole_and_rod_foul_in_the_drawing_just_when_the_plate_does_not_go_on() -> None:
    plan = samples.rectangle()
    for miss in (1.0, 2.0, 4.0, 6.0, 9.0):
        result = evaluate_deviations(plan, lambda check: True, {"offset:S2.1": miss})
        fits = ResultView(result).positions["S2"]["plate_fit"]["fits"]
        drawing = draw_pattern(plan, "S2", result)
        assert any(hole.fouled for hole in drawing.holes) is not fits
