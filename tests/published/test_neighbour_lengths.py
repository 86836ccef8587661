"""Bays and spans: propagation of uncertainty by the GUM, and plane geometry."""

import numpy as np
import pytest
import shapely
import shapely.affinity

from checks.engine.neighbour_lengths import (
    BAY_WEIGHTS,
    combine_uncertainty,
    find_contradictions,
    predict_bays,
    predict_spans,
)


def test_ten_resistors_by_one_standard():
    # JCGM 100:2008, 5.2.2, example: ten resistors of 1000 ohm, each calibrated against
    # the same standard with u = 100 milliohm, in series: 1 ohm, because all share the
    # standard's error; 0.32 ohm if they were independent.
    together, apart = np.full((10, 10), 0.1**2), 0.1**2 * np.eye(10)
    weights = np.ones(10)
    assert combine_uncertainty(weights, together) == pytest.approx(1.0, rel=1e-12)
    assert combine_uncertainty(weights, apart) == pytest.approx(0.32, abs=0.005)


def test_a_scale_error_of_the_tape_cancels_between_a_bay_and_its_lines():
    # A tape 1 mm in 10 m long: lines at 12 and 18 m, bay of 6 m.
    common = np.array([1.2, 1.8, 0.6])
    covariance = np.outer(common, common) + np.diag([0.5**2, 0.4**2, 0.3**2])
    assert combine_uncertainty(BAY_WEIGHTS, covariance) == pytest.approx(
        np.sqrt(0.5**2 + 0.4**2 + 0.3**2), rel=1e-12
    )


def test_a_bay_is_what_lies_between_two_running_dimensions():
    planned, built = np.array([6000.0, 13_500.0]), np.array([6002.0, 13_495.5])
    want = (built[1] - built[0]) - (planned[1] - planned[0])
    assert predict_bays([built - planned])[0] == pytest.approx(want)
    assert np.isnan(predict_bays([[np.nan, 1.0]])[0])


@pytest.mark.parametrize("along", [0.0, 5000.0, 17_000.0, 24_000.0])
def test_a_span_is_the_width_of_the_built_outline(along):
    # A hall of 24 by 15 m whose corners stand a few mm off, cut along a frame line.
    plan = np.array([(0, 0), (24_000, 0), (24_000, 15_000), (0, 15_000)], dtype=float)
    moves = np.array([(1.0, -2.0), (-3.0, 4.0), (2.0, 6.0), (0.5, -1.5)])
    south = shapely.LineString((plan + moves)[:2])
    north = shapely.LineString((plan + moves)[2:])
    line = shapely.LineString([(along, -100.0), (along, 15_100.0)])
    # Walls are extended: a corner may stand a little inside the frame line.
    reach = [shapely.affinity.scale(wall, 1.1, 1.1) for wall in (south, north)]
    width = reach[1].intersection(line).y - reach[0].intersection(line).y
    shares = [[along / 24_000, 1.0 - along / 24_000]]
    predicted = predict_spans([[moves[:2], moves[2:]]], shares, [[0.0, 1.0]])
    # First order in the moves: 3 mm along a wall that leans by 6 mm in 24 m.
    assert predicted[0] == pytest.approx(width - 15_000.0, abs=2e-3)


def test_what_is_not_known_contradicts_nothing():
    found = find_contradictions([3.3, -3.3, 3.2, 3.3], [0, 0, 0, np.nan], [1, 1, 1, 1])
    assert found.tolist() == [True, True, False, False]
    assert not find_contradictions([9.0], [0.0], [np.nan]).any()
