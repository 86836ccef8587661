"""Primitives that every drawing shares."""

import math

import numpy as np
import pytest

from core.svg import (
    Viewport,
    format_coordinate,
    normalise,
    offset_outline,
    path_data,
    polygon_points,
    upright_angle,
)

L_SHAPE = np.array([[0, 0], [60, 0], [60, 20], [20, 20], [20, 40], [0, 40]], float)


def test_y_of_the_plan_goes_up_and_y_of_the_drawing_down() -> None:
    view = Viewport(scale=0.5, origin=(10.0, 100.0))
    assert view.points(np.array([[20.0, 40.0]]))[0] == pytest.approx([20.0, 80.0])
    assert view.vectors(np.array([[20.0, 40.0]]))[0] == pytest.approx([10.0, -20.0])


def test_an_outline_moves_outward_at_re_entrant_corners_too() -> None:
    moved = offset_outline(L_SHAPE, 1.0)
    expected = [[-1, -1], [61, -1], [61, 21], [21, 21], [21, 41], [-1, 41]]
    assert moved == pytest.approx(np.array(expected, float))
    assert L_SHAPE[0] == pytest.approx([0, 0])


@pytest.mark.parametrize("degrees", range(-180, 181, 15))
def test_text_is_read_from_below_or_from_the_right(degrees: int) -> None:
    upright = math.degrees(upright_angle(math.radians(degrees)))
    assert -90 - 1e-6 <= upright < 90
    assert math.remainder(upright - degrees, 180) == pytest.approx(0, abs=1e-9)


def test_a_coordinate_is_never_minus_zero() -> None:
    assert [format_coordinate(value) for value in (-0.04, 0.0, 2.0, -1.26)] == [
        "0", "0", "2", "-1.3",
    ]  # fmt: skip


def test_points_are_written_as_a_path_and_as_a_polygon() -> None:
    points = np.array([[0.0, 1.0], [2.5, 3.0]])
    assert path_data(points, closed=True) == "M0 1 L2.5 3 Z"
    assert polygon_points(points) == "0.00,1.00 2.50,3.00"


def test_a_vector_without_length_stays_as_it_is() -> None:
    assert normalise(np.array([[3.0, 4.0], [0.0, 0.0]])) == pytest.approx(
        np.array([[0.6, 0.8], [0.0, 0.0]])
    )
