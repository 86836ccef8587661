import xml.etree.ElementTree as ET

import numpy as np
import pytest
from django.template.loader import render_to_string

from jobs.exchange.input.parser import parse_building
from jobs.plans.plan_drawing import draw_plan
from tests import example_buildings


def drawn(**members):
    return draw_plan(parse_building(example_buildings.shed(**members)).plan)


def points(text):
    return np.array(
        [[float(each) for each in pair.split(",")] for pair in text.split()]
    )


def test_the_plan_is_to_scale_with_y_turned_down():
    drawing = drawn()
    assert points(drawing.steel_line) == pytest.approx(
        np.array([[0, 38], [66, 38], [66, 0], [0, 0]]) / 66 * 1000, abs=0.01
    )
    assert drawing.to_drawing(np.array([[33 * 304.8, 38 * 304.8]])) == pytest.approx(
        np.array([[500.0, 0.0]])
    )


def test_the_concrete_stands_out_by_the_notch_on_every_side():
    steel, concrete = points(drawn().steel_line), points(drawn().concrete)
    notch = 1.5 / 12 / 66 * 1000
    out = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * notch
    assert concrete - steel == pytest.approx(out, abs=0.02)


def test_at_an_inward_corner_the_concrete_keeps_its_distance():
    corners = [(0, 0), (66, 0), (66, 20), (30, 20), (30, 38), (0, 38)]
    outline = [
        {"corner": name, "x": x, "y": y}
        for name, (x, y) in zip("ABCDEF", corners, strict=True)
    ]
    drawing = drawn(outline=outline, positions=[], diagonals=[])
    notch = 1.5 / 12 / 66 * 1000
    inner = points(drawing.concrete)[3] - points(drawing.steel_line)[3]
    assert inner == pytest.approx([notch, -notch], abs=0.02)


def test_without_a_notch_there_is_no_second_edge():
    document = example_buildings.shed()
    del document["notch"]
    assert draw_plan(parse_building(document).plan).concrete == ""


def test_rods_stand_where_the_detail_puts_them_on_both_walls():
    marks = {each.mark: each for each in drawn().positions}
    foot = (2 / 66 * 1000, 38 / 66 * 1000)
    rod = marks["S1"].rods[0]
    scale = 1000 / 66 / 12
    assert (rod.x, rod.y) == pytest.approx(
        (foot[0] - 2.5 * scale, foot[1] - 7 * scale), abs=0.01
    )
    across = marks["N1"].rods[0]  # its wall runs the other way
    assert (across.x, across.y) == pytest.approx(
        ((66 - 2) / 66 * 1000 + 2.5 * scale, 7 * scale), abs=0.01
    )


def test_columns_that_face_each_other_are_joined_by_a_line():
    xs = sorted(line.x1 for line in drawn().column_lines)
    assert xs == pytest.approx([2 / 66 * 1000, 500, 64 / 66 * 1000], abs=0.01)


def test_every_wall_carries_its_length_and_running_dimensions_from_its_corner():
    walls = {wall.name: wall for wall in drawn().walls}
    assert list(walls) == [
        "A\N{EN DASH}B",
        "B\N{EN DASH}C",
        "C\N{EN DASH}D",
        "D\N{EN DASH}A",
    ]
    assert walls["A\N{EN DASH}B"].overall.label.length == pytest.approx(66 * 304.8)
    assert [label.length for label in walls["C\N{EN DASH}D"].running] == pytest.approx(
        [2 * 304.8, 33 * 304.8, 64 * 304.8]
    )


def test_no_words_stand_on_their_head():
    drawing = drawn()
    labels = [wall.overall.label for wall in drawing.walls]
    labels += [label for wall in drawing.walls for label in wall.running]
    labels += [line.label for line in drawing.diagonals]
    assert all(-90 <= label.rotation < 90 for label in labels)


def test_running_dimensions_that_would_overlap_are_left_to_the_table():
    close = [
        {"mark": f"S{n}", "wall": "A-B", "along": f"{n}'", "detail": "M"}
        for n in range(1, 65)
    ]
    wall = drawn(positions=close).walls[0]
    assert len(wall.ticks) == 64
    assert 2 < len(wall.running) < 40


def test_a_position_at_a_point_is_drawn_turned():
    at_point = [{"mark": "K", "x": "33'", "y": "19'", "turn": "90 deg", "detail": "M"}]
    rod = drawn(positions=at_point).positions[0].rods[0]
    scale = 1000 / 66 / 12
    # along is now plan y, in is minus plan x
    assert (rod.x, rod.y) == pytest.approx(
        (500 - 7 * scale, 19 / 66 * 1000 + 2.5 * scale), abs=0.01
    )


def test_the_svg_is_well_formed_named_and_carries_no_inline_style():
    drawing = drawn(name='Shed <"&> one')
    text = render_to_string("jobs/plan.svg", {"drawing": drawing, "units": "metric"})
    root = ET.fromstring(text)  # noqa: S314  written by ourselves
    assert root.find("title").text == 'Anchor plan of Shed <"&> one'
    assert "6 positions" in root.find("desc").text
    assert not [each for each in root.iter() if "style" in each.attrib]
    assert len([e for e in root.iter() if e.get("class") == "plan-rod"]) == 24
    assert "20116.8 mm" in text
