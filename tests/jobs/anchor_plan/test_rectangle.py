"""A rectangular building from a few figures."""

import dataclasses
import json

import numpy as np
import pytest

from core.units import UnitError, parse_length
from jobs.anchor_plan.geometry import get_position, rod_points
from jobs.anchor_plan.rectangle import (
    PatternSpec,
    RectangleError,
    RectangleSpec,
    build_rectangle_document,
    line_letters,
)
from jobs.anchor_plan.spacing import parse_spacing
from jobs.exchange.input.parser import parse_building, parse_building_text
from tests.jobs.exchange.example import example

PATTERN = PatternSpec(
    gage='5"',
    first_row='7"',
    row_spacing='6"',
    rod='3/4"',
    hole='15/16"',
    projection='3"',
    thickness='1/2"',
    edge='1 1/2"',
)
SPEC = RectangleSpec(
    name="Fern Hollow",
    length_unit="ft",
    width="44'",
    length="98'",
    bays="22', 2 @ 27', 22'",
    frame=PATTERN,
    endwall=PATTERN,
    endwall_spacing=["12'", 20, "12'"],
    corner=PATTERN,
    corner_inset='10"',
    notch_width='1 1/2"',
    notch_depth='1 1/4"',
    specified_strength="3000 psi",
    placed_on="2026-05-04",
    shim_thicknesses=['1/16"', '1/8"'],
)


def built(spec):
    return parse_building(build_rectangle_document(spec)).plan


def faults(**fields):
    with pytest.raises(RectangleError) as refused:
        build_rectangle_document(dataclasses.replace(SPEC, **fields))
    return {each.field: each.message for each in refused.value.issues}


def test_the_document_is_json_that_the_parser_takes():
    document = build_rectangle_document(SPEC)
    assert parse_building_text(json.dumps(document)) == parse_building(document)


def test_columns_are_marked_by_line_letter_and_number_wall_by_wall():
    marks = [each.mark for each in built(SPEC).positions]
    assert " ".join(marks) == "A1 A2 A3 A4 A5 B5 C5 D5 D4 D3 D2 D1 C1 B1"


def test_columns_of_one_frame_face_each_other():
    plan = built(SPEC)
    for number in range(1, 6):
        low, high = (get_position(plan, f"{row}{number}") for row in "AD")
        across = rod_points(plan, low).mean(axis=0) - rod_points(plan, high).mean(
            axis=0
        )
        assert across[0] == pytest.approx(0.0, abs=1e-6)
        # 44 ft less the middle of the pattern, 10 in, on either side
        assert across[1] == pytest.approx(-(44 * 304.8 - 2 * 254.0))


def test_frames_stand_at_running_dimensions_from_the_corner():
    plan = built(SPEC)
    along = {each.mark: each.along for each in plan.positions}
    feet = {mark: along[mark] / 304.8 for mark in ("A2", "A3", "A4", "B5", "C5", "C1")}
    assert feet == pytest.approx(
        {"A2": 22, "A3": 49, "A4": 76, "B5": 12, "C5": 32, "C1": 12}
    )
    assert along["A1"] == pytest.approx(254.0)
    assert along["D1"] == pytest.approx(98 * 304.8 - 254.0)


def test_every_rod_is_inside_the_building():
    plan = built(SPEC)
    points = np.vstack([rod_points(plan, each) for each in plan.positions])
    assert (points > 0).all()
    assert (points < [98 * 304.8, 44 * 304.8]).all()


def test_everything_else_is_carried_over():
    plan = built(SPEC)
    assert plan.notch is not None
    assert (plan.notch.width, plan.notch.depth) == pytest.approx((38.1, 31.75))
    assert plan.concrete.specified_strength == pytest.approx(20.684, abs=1e-3)
    assert [each.text for each in plan.shim_thicknesses] == ['1/16"', '1/8"']
    plate = plan.details["frame"].plate
    assert plate is not None
    assert plate.edge_distance == pytest.approx(38.1)
    assert plan.details["frame"].rods[0].projection == pytest.approx(76.2)


def test_without_endwall_and_corner_columns_only_inner_frames_stand():
    bare = dataclasses.replace(
        SPEC, endwall=None, endwall_spacing=None, corner=None, corner_inset=None
    )
    marks = [each.mark for each in built(bare).positions]
    assert marks == ["A2", "A3", "A4", "B4", "B3", "B2"]


def test_metric_figures_make_the_same_building():
    def metric(value):
        if value is None:
            return None
        return f"{parse_length(value, 'ft').mm:f} mm"

    pattern = PatternSpec(
        **{
            name: metric(getattr(PATTERN, name))
            for name in ("gage", "first_row", "row_spacing", "rod", "hole")
        }
    )
    frame = dataclasses.replace(PATTERN, projection=None, thickness=None, edge=None)
    one = dataclasses.replace(
        SPEC, frame=frame, endwall=frame, corner=frame, shim_thicknesses=()
    )
    other = dataclasses.replace(
        one,
        width=metric(SPEC.width),
        length=metric(SPEC.length),
        bays=[metric(each) for each in ("22'", "27'", "27'", "22'")],
        endwall_spacing=["3657.6 mm", "6.096 m", "365.76 cm"],
        frame=pattern,
        endwall=pattern,
        corner=pattern,
        corner_inset="254 mm",
    )
    assert built(one) == built(other)


def test_a_whole_detail_can_be_given():
    detail = example()["details"]["P"]
    plan = built(dataclasses.replace(SPEC, frame=detail))
    assert plan.details["frame"].rods[0].inward == pytest.approx(203.2)


@pytest.mark.parametrize(
    ("fields", "field", "hint"),
    [
        ({"width": "44"}, "width", "no unit"),
        ({"width": "-44'"}, "width", "greater than zero"),
        ({"length": True}, "length", "true or false"),
        ({"length": "97'"}, "bays", "more than the length"),
        ({"bays": "22', 2 @ 27', x"}, "bays", "Space 3"),
        ({"bays": "0 @ 27'"}, "bays", "1 to 200"),
        ({"bays": "999 @ 1'"}, "bays", "1 to 200"),
        ({"bays": "-22'"}, "bays", "greater than zero"),
        ({"bays": " , "}, "bays", "This is empty"),
        ({"bays": []}, "bays", "This is empty"),
        ({"endwall_spacing": "40'"}, "endwall_spacing", "less than the width"),
        ({"endwall_spacing": None}, "endwall_spacing", "both"),
        ({"endwall": None}, "endwall", "both"),
        ({"corner": None}, "corner", "both"),
        ({"corner_inset": None}, "corner_inset", "both"),
        ({"corner_inset": "30'"}, "corner_inset", "end bays"),
        ({"notch_depth": None}, "notch_depth", "width and its depth"),
        ({"notch_width": "wide"}, "notch_width", "not a length"),
        ({"shim_thicknesses": ["1/16"]}, "shim_thicknesses.1", "no unit"),
    ],
)
def test_a_refusal_names_its_field(fields, field, hint):
    refused = faults(**fields)
    assert list(refused) == [field]
    assert hint in refused[field]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"gage": "0 in"}, "frame.gage"),
        ({"rod": "?"}, "frame.rod"),
        ({"hole": '5/8"'}, "frame.hole"),
        ({"projection": "3"}, "frame.projection"),
        ({"rows": 0}, "frame.rows"),
    ],
)
def test_a_refusal_names_the_figure_of_the_pattern(change, field):
    assert list(faults(frame=dataclasses.replace(PATTERN, **change))) == [field]


def test_all_refusals_come_at_once():
    assert list(faults(width="x", bays="y", notch_depth=None)) == [
        "width",
        "bays",
        "notch_depth",
    ]


def test_spaces_are_read_in_their_order():
    assert [float(each.mm) for each in parse_spacing("20', 3@25'; 6 m", None)] == (
        pytest.approx([6096.0, 7620.0, 7620.0, 7620.0, 6000.0])
    )
    with pytest.raises(UnitError, match="Space 2"):
        parse_spacing(["20'", None], "ft")


def test_letters_pass_over_i_and_o_and_go_on_after_z():
    assert "".join(line_letters(n) for n in range(24)) == "ABCDEFGHJKLMNPQRSTUVWXYZ"
    assert [line_letters(24), line_letters(25), line_letters(24 + 24 * 24)] == [
        "AA",
        "AB",
        "AAA",
    ]
