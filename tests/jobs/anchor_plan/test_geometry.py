"""Where the plan puts things."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from jobs.anchor_plan.geometry import (
    PlanError,
    get_corner,
    get_position,
    list_walls,
    outline_points,
    position_axes,
    rod_points,
    to_local_axes,
    to_plan_axes,
    wall_axes,
    wall_length,
)
from jobs.anchor_plan.values import Corner, Detail, Plan, Position, Rod
from tests.jobs.exchange.example import plan

SKEW = Plan(
    name="skew",
    length_unit="mm",
    outline=(
        Corner(name="A", x=1000.0, y=2000.0),
        Corner(name="B", x=9000.0, y=8000.0),  # 3-4-5: the wall is 10 m long
        Corner(name="C", x=6000.0, y=12000.0),
        Corner(name="D", x=-2000.0, y=6000.0),
    ),
    diagonals=(),
    details={
        "L": Detail(
            name="L",
            reference="web",
            rods=(
                Rod(number=1, along=0.0, inward=100.0, diameter=20.0),
                Rod(number=2, along=50.0, inward=200.0, diameter=20.0),
            ),
        )
    },
    positions=(
        Position(mark="M", detail="L", wall=("A", "B"), along=5000.0),
        Position(mark="N", detail="L", wall=("C", "D"), along=0.0),
        Position(mark="Q", detail="L", x=10.0, y=20.0, turn=math.pi / 6),
    ),
)


def test_a_wall_runs_from_its_first_corner_with_in_to_the_left():
    frame = wall_axes(SKEW, ("A", "B"))
    assert frame.origin == pytest.approx([1000, 2000])
    assert frame.along == pytest.approx([0.8, 0.6])
    assert frame.inward == pytest.approx([-0.6, 0.8])
    assert wall_length(SKEW, ("A", "B")) == pytest.approx(10000.0, abs=1e-9)


def test_in_points_into_the_building_on_every_wall():
    inside = shapely.Polygon(outline_points(SKEW))
    for wall in list_walls(SKEW):
        frame = wall_axes(SKEW, wall)
        step = to_plan_axes(frame, np.array([[wall_length(SKEW, wall) / 2, 1.0]]))[0]
        assert inside.contains(shapely.Point(step))


def test_rods_stand_where_the_detail_says_by_hand():
    # along 5000 on the 3-4-5 wall is (5000, 5000); in 100 is (-60, 80);
    # along 50 and in 200 is (40, 30) + (-120, 160).
    assert rod_points(SKEW, get_position(SKEW, "M")) == pytest.approx(
        np.array([[4940.0, 5080.0], [4920.0, 5190.0]])
    )


def test_on_the_opposite_wall_a_detail_is_turned_around():
    assert rod_points(SKEW, get_position(SKEW, "N")) == pytest.approx(
        np.array([[6060.0, 11920.0], [6080.0, 11810.0]])
    )


def test_at_a_point_the_detail_turns_counter_clockwise():
    points = rod_points(SKEW, get_position(SKEW, "Q"))
    assert points[0] == pytest.approx([10 - 50.0, 20 + 100 * math.cos(math.pi / 6)])


def test_a_quarter_turn_carries_along_into_y():
    frame = position_axes(plan(), get_position(plan(), "K7"))
    assert frame.along == pytest.approx([0, 1], abs=1e-15)
    assert frame.inward == pytest.approx([-1, 0], abs=1e-15)


@given(
    st.lists(
        st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6)), min_size=1, max_size=8
    )
)
def test_there_and_back_again(points):
    given_points = np.array(points)
    before = given_points.copy()
    frame = wall_axes(SKEW, ("B", "C"))
    there = to_plan_axes(frame, given_points)
    assert to_local_axes(frame, there) == pytest.approx(before, abs=1e-6)
    assert (given_points == before).all()


def test_distances_survive_the_change_of_axes():
    frame = position_axes(SKEW, get_position(SKEW, "Q"))
    points = np.array([[0.0, 0.0], [30.0, 40.0]])
    moved = to_plan_axes(frame, points)
    assert math.dist(moved[0], moved[1]) == pytest.approx(50.0)


def test_what_is_not_on_the_plan_is_an_error():
    with pytest.raises(PlanError, match="A, B, C, D"):
        get_corner(SKEW, "Z")
    with pytest.raises(PlanError, match="not a wall"):
        wall_axes(SKEW, ("B", "A"))
    with pytest.raises(PlanError, match="no position"):
        get_position(SKEW, "Z")
