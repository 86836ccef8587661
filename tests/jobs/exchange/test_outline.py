"""The outline of a document: its corners, its walls and its diagonals."""

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.anchor_plan.values import Corner
from jobs.exchange.input.outline_rules import find_outline_issues
from tests.jobs.exchange.example import example, refusals


def corners(*points, names="ABCDEFGHIJKL"):
    return [
        {"corner": name, "x": x, "y": y}
        for name, (x, y) in zip(names, points, strict=False)
    ]


def outline_refusals(*points):
    document = {
        "format": "padstone.building/1",
        "name": "outline",
        "length_unit": "m",
        "outline": corners(*points),
    }
    return refusals(document)


def test_any_simple_outline_is_read():
    ell = [(0, 0), (9, 0), (9, 4), (5, 4), (5, 8), (0, 8)]
    straight = [(0, 0), (5, 0), (9, 0), (9, 4), (0, 4)]  # a corner on a straight wall
    for points in (ell, straight, [(-3, -3), (9, 0), (0, 7)]):
        assert outline_refusals(*points) == {}


def test_a_clockwise_outline_is_refused_with_the_right_order():
    refused = outline_refusals((0, 0), (0, 4), (9, 4), (9, 0))
    assert list(refused) == ["/outline"]
    assert "clockwise" in refused["/outline"]
    assert "D, C, B, A" in refused["/outline"]


def test_two_corners_are_not_enough():
    assert "At least 3" in outline_refusals((0, 0), (9, 0))["/outline"]


def test_a_corner_is_not_repeated_to_close_the_outline():
    refused = outline_refusals((0, 0), (9, 0), (9, 4), (0, 4), (0, 0))
    assert "at the same point as corner A" in refused["/outline/4"]


@pytest.mark.parametrize(
    "points",
    [
        [(0, 0), (9, 4), (9, 0), (0, 4)],  # a bow tie
        [(0, 0), (9, 0), (4, 0)],  # back along itself
        [(0, 0), (9, 0), (9, 4), (5, 0), (0, 4)],  # a corner on another edge
        [(0, 0), (6, 0), (6, 4), (3, -2), (0, 4)],  # through another edge twice
        [(0, 0), (9, 0), (9, 4), (9, 2), (9, 8), (0, 8)],  # a spike
    ],
)
def test_edges_that_cross_or_touch_are_refused(points):
    refused = outline_refusals(*points)
    assert refused
    assert all("crosses or touches" in message for message in refused.values())


@settings(max_examples=300)
@given(
    st.lists(
        st.tuples(st.integers(-6, 6), st.integers(-6, 6)),
        min_size=3,
        max_size=7,
        unique=True,
    )
)
def test_an_outline_is_judged_as_an_independent_library_judges_it(points):
    ring = shapely.LinearRing(points)
    fits = bool(ring.is_simple and ring.is_ccw and shapely.Polygon(points).area > 0)
    named = [
        Corner(name=str(n), x=float(x), y=float(y)) for n, (x, y) in enumerate(points)
    ]
    assert (find_outline_issues(named) == []) == fits


def test_a_hair_is_enough_to_keep_edges_apart():
    far = 9_000_000.0
    hair = 1e-6
    points = [(0, 0), (far, 0), (far, 4000), (far / 2, hair), (0, 4000)]
    named = [
        Corner(name=str(n), x=float(x), y=float(y)) for n, (x, y) in enumerate(points)
    ]
    assert find_outline_issues(named) == []


def test_hyphens_in_corner_names_are_fine_until_a_key_means_two_things():
    document = example()
    del document["readings"], document["positions"], document["diagonals"]
    for corner, name in zip(
        document["outline"], ["A-1", "A-2", "A-3", "A-4"], strict=True
    ):
        corner["corner"] = name
    assert refusals(document) == {}
    for corner, name in zip(document["outline"], ["A", "B-C", "A-B", "C"], strict=True):
        corner["corner"] = name
    assert "A-B-C could mean two" in refusals(document)["/outline"]
