import math
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from checks.drawings.canvas import round_down
from checks.drawings.outline import draw_outline
from checks.drawings.svg import render_svg
from jobs.anchor_plan.values import Plan
from tests.checks.drawings import samples

SVG = "{http://www.w3.org/2000/svg}"


def written(
    plan: Plan, result: object = None, **options: object
) -> ElementTree.Element:
    drawing = draw_outline(plan, result, **options)  # type: ignore[arg-type]
    return ElementTree.fromstring(render_svg("outline", drawing, "imperial"))  # noqa: S314 -- ours


@pytest.mark.parametrize(
    "plan", [samples.rectangle(), samples.l_shape(), samples.metric()]
)
def test_every_position_is_drawn_with_its_mark_and_verdict(plan: Plan) -> None:
    tree = written(plan, samples.result(plan))
    places = [item for item in tree.iter() if "place" in item.get("class", "").split()]
    assert [place.find(f"{SVG}title").text for place in places] == [  # type: ignore[union-attr]
        f"{p.mark}: within; " + place.find(f"{SVG}title").text.split("; ")[1]  # type: ignore[union-attr]
        for p, place in zip(plan.positions, places, strict=True)
    ]


def test_a_position_outside_differs_by_shape_and_word_not_only_by_colour() -> None:
    plan = samples.rectangle()
    drawing = draw_outline(plan, samples.result(plan, misses={"S2": (7, 2)}))
    (place,) = (place for place in drawing.positions if place.mark == "S2")
    assert (place.verdict, place.label.shape, place.label.verdict_label) == (
        "outside",
    ) * 3
    tree = written(plan, samples.result(plan, misses={"S2": (7, 2)}))
    shapes = {
        group.get("class"): group[0].tag + (group[0].get("d") or "")
        for group in tree.iter(f"{SVG}g")
        if group.get("class", "").startswith("shape ")
    }
    assert shapes["shape outside"] != shapes["shape within"]


def test_a_rod_is_drawn_off_its_plan_by_deviation_times_factor_times_scale() -> None:
    plan = replace(samples.metric(), name="one rod off")
    result = samples.result(plan)
    for corner in result["squareness"]["corners"]:
        corner.update(dx=0.0, dy=0.0)
    for position in result["positions"]:
        for rod in position["rods"]:
            rod.update(d_along=0.0, d_in=0.0)
    result["positions"][0]["rods"][0].update(d_along=3.0, d_in=-4.0)
    drawing = draw_outline(plan, result, exaggerate=100)
    scale = drawing.grid / 2000.0  # the grid of this drawing is 2 m
    place = drawing.positions[0]
    move = np.subtract(place.built[0], place.planned[0])
    # wall P-Q runs along x; y is down on the sheet
    assert move == pytest.approx([3 * 100 * scale, 4 * 100 * scale], abs=0.11)
    assert place.built[1] == place.planned[1]


def test_a_position_goes_with_its_wall_when_a_corner_is_off() -> None:
    plan = samples.rectangle()
    none = {corner.name: (0.0, 0.0) for corner in plan.outline}
    result = samples.result(plan, corners=none | {"SE": (0.0, -8.0)})
    drawing = draw_outline(plan, result, exaggerate=100)
    by_mark = {place.mark: place for place in drawing.positions}
    down = {
        mark: float(
            np.mean(np.subtract(by_mark[mark].built, by_mark[mark].planned)[:, 1])
        )
        for mark in ("S1", "S3", "S5")
    }
    assert down["S1"] == pytest.approx(0.0, abs=1.5)
    assert down["S3"] == pytest.approx(down["S5"] / 2, abs=1.5)
    assert down["S5"] > 8


def test_a_move_that_would_leave_the_sheet_is_cut_short_and_said_to_be() -> None:
    plan = samples.rectangle()
    result = samples.result(plan, misses={"S2": (300, 0)})
    drawing = draw_outline(plan, result, exaggerate=100)
    (place,) = (place for place in drawing.positions if place.mark == "S2")
    assert place.cut_short
    longest = np.hypot(*np.subtract(place.built, place.planned).T).max()
    assert longest == pytest.approx(60, abs=0.2)
    assert any(entry.line_class == "cut-short" for entry in drawing.legend)


@pytest.mark.parametrize("factor", [1.0, 37.0, 500.0])
def test_the_readers_factor_is_used_and_written_in_the_legend(factor: float) -> None:
    plan = samples.rectangle()
    drawing = draw_outline(plan, samples.result(plan), exaggerate=factor)
    assert drawing.factor == factor
    assert f"Deviations drawn × {factor:g}" in {e.text for e in drawing.legend}  # noqa: RUF001 -- a times sign


def test_one_gross_reading_does_not_shrink_every_other_deviation() -> None:
    plan = samples.rectangle()
    usual = draw_outline(plan, samples.result(plan)).factor
    foot = draw_outline(plan, samples.result(plan, misses={"S2": (304.8, 0)})).factor
    assert foot == usual


@pytest.mark.parametrize("value", [0.3, 1.0, 1.99, 7.0, 50.0, 999.0])
def test_a_factor_is_the_round_number_next_below(value: float) -> None:
    found = round_down(value)
    assert found <= value < 2.5 * found
    assert round(found / 10 ** math.floor(math.log10(found)), 6) in {1, 2, 5}


def test_marks_of_a_crowded_wall_do_not_cover_each_other() -> None:
    plan = samples.rectangle(
        bays=16, bay=25 * samples.FOOT, width=100 * samples.FOOT, jambs=8
    )
    assert len(plan.positions) >= 56
    drawing = draw_outline(plan, samples.result(plan))
    boxes = [
        (place.label.x, place.label.y, len(place.mark) * 9.0)
        for place in drawing.positions
    ]
    for index, (x, y, width) in enumerate(boxes):
        for other_x, other_y, other in boxes[index + 1 :]:
            assert (
                abs(y - other_y) >= 14 or x + width <= other_x or other_x + other <= x
            )


def test_everything_lies_inside_the_view_box() -> None:
    for plan in (samples.rectangle(jambs=3), samples.l_shape(), samples.metric()):
        drawing = draw_outline(plan, samples.result(plan))
        right, bottom = drawing.left + drawing.width, drawing.top + drawing.height
        marks = [*drawing.corners, *(place.label for place in drawing.positions)]
        marks_at = [(mark.x, mark.y) for mark in marks]
        lines = [*drawing.walls, *drawing.diagonals]
        labels = [line.label for line in lines if line.label]
        for x, y in [*marks_at, *((label.x, label.y) for label in labels)]:
            assert drawing.left < x < right
            assert drawing.top < y < bottom


def test_without_a_result_the_plan_alone_is_drawn() -> None:
    drawing = draw_outline(samples.rectangle())
    assert drawing.factor is None
    assert not drawing.built
    assert all(not place.built and not place.label.shape for place in drawing.positions)


def test_an_unmeasured_position_is_not_drawn_as_within() -> None:
    plan = samples.rectangle()
    drawing = draw_outline(plan, samples.result(plan, unmeasured=("S3",)))
    (place,) = (place for place in drawing.positions if place.mark == "S3")
    assert (place.verdict, place.built) == ("unmeasured", ())


def test_a_name_with_markup_in_it_is_written_as_text() -> None:
    plan = replace(samples.metric(), name="<script>alert(1)</script> & co")
    tree = written(plan, samples.result(plan))
    assert tree.find(f"{SVG}title").text == f"Plan of {plan.name}"  # type: ignore[union-attr]
    assert not list(tree.iter(f"{SVG}script"))


def test_no_drawing_carries_a_style_or_a_handler() -> None:
    plan = samples.l_shape()
    for item in written(
        plan, samples.result(plan), href=lambda mark: f"/{mark}"
    ).iter():
        assert item.tag != f"{SVG}style"
        assert not [name for name in item.keys() if name == "style" or name[:2] == "on"]  # noqa: SIM118 -- an element


def test_each_position_links_where_the_caller_says() -> None:
    plan = samples.rectangle()
    tree = written(plan, samples.result(plan), href=lambda mark: f"/at/{mark}/")
    links = [link.get("href") for link in tree.iter(f"{SVG}a")]
    assert links == [f"/at/{position.mark}/" for position in plan.positions]


def test_a_drawing_that_leaves_the_page_carries_its_looks_and_names_no_variable() -> (
    None
):
    plan = samples.rectangle()
    drawing = draw_outline(plan, samples.result(plan))
    text = render_svg("outline", drawing, "imperial", standalone=True)
    tree = ElementTree.fromstring(text)  # noqa: S314 -- ours
    looks = tree.find(f"{SVG}style")
    assert looks is not None
    assert "var(" not in (looks.text or "")
    assert tree.get("width") == str(drawing.width)


def test_two_drawings_on_a_page_share_no_id() -> None:
    plan = samples.rectangle()
    drawing = draw_outline(plan, samples.result(plan))
    ids = [
        {item.get("id") for item in ElementTree.fromstring(text).iter()} - {None}  # noqa: S314 -- ours
        for text in (
            render_svg("outline", drawing, "imperial", key="a"),
            render_svg("outline", drawing, "imperial", key="b"),
        )
    ]
    assert ids[0]
    assert not ids[0] & ids[1]
