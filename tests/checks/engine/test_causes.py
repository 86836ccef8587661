"""Mistakes held against residuals, one at a time; the numbers are invented."""

import numpy as np
import pytest

from checks.engine import causes


def test_a_foot_is_distinguished_from_an_inch_and_from_neither():
    found = causes.find_misread_amounts([305.0, -304.0, 26.0, -25.4, 12.0, 0.0], 3.2)
    assert found.tolist() == [304.8, -304.8, 25.4, -25.4, 0.0, 0.0]


def test_values_exchanged_back_fit_the_plan():
    nominal, observed = [1000.0, 2000.0, 3000.0], [1001.0, 2999.0, 2001.0]
    assert causes.find_swapped_pairs(nominal, observed, 3.2).tolist() == [[1, 2]]


def test_values_too_similar_to_be_swapped_are_not_named():
    assert causes.find_swapped_pairs([1000.0, 1004.0], [1004.0, 1000.0], 3.2).size == 0


@pytest.mark.parametrize(
    ("name", "signs"),
    [("turned end for end", (-1.0, -1.0)), ("mirrored along the wall", (-1.0, 1.0))],
)
def test_a_lopsided_pattern_the_wrong_way_round_is_seen(
    name: str, signs: tuple[float, float]
):
    planned = np.array([[30.0, 100.0], [90.0, 100.0], [30.0, 220.0]])
    middle = np.array([0.0, 160.0])
    built = middle + (planned - middle) * np.array(signs)
    assert causes.find_wrong_orientation(planned, built, 2.0) == name


def test_a_pattern_that_looks_the_same_turned_around_is_not_named():
    planned = np.array([[-50.0, 100.0], [50.0, 100.0], [-50.0, 220.0], [50.0, 220.0]])
    middle = np.array([0.0, 160.0])
    assert causes.find_wrong_orientation(planned, 2.0 * middle - planned, 2.0) is None


def test_an_inverted_rod_reads_its_length_less_the_true_reading():
    found = causes.find_inverted_rods([1450.0, 3548.0], [1451.0, 1450.0], 5.0)
    assert np.isnan(found[0])
    assert found[1] == 5000.0


@pytest.mark.parametrize("moved", [2, 4, 6])
@pytest.mark.parametrize("step", [18.0, -18.0])
def test_a_set_up_that_moved_is_dated_by_the_pads(moved: int, step: float):
    pads = np.array([1390.0, 1450.4, 1449.8, 1450.1, 1449.5, 1450.3, 1450.0, 1390.0])
    reading = pads + step * (np.arange(pads.size) >= moved)
    point = np.array([0, 1, 2, 3, 4, 5, 6, 0])
    (knock,) = causes.find_setup_disturbances(
        reading, np.zeros(8, dtype=int), point, 6.0
    )
    assert knock.reading == moved
    assert knock.shift_mm == pytest.approx(step)


def test_a_set_up_that_closes_was_not_disturbed():
    reading = np.array([1390.0, 1450.0, 1462.0, 1449.0, 1391.0])
    point = np.array([0, 1, 2, 3, 0])
    assert (
        causes.find_setup_disturbances(reading, np.zeros(5, dtype=int), point, 6.0)
        == ()
    )


def test_with_too_few_pads_a_move_is_dated_by_the_reading_that_shows_it():
    reading = np.array([1390.0, 1450.0, 1408.0])
    (knock,) = causes.find_setup_disturbances(
        reading, np.zeros(3, dtype=int), np.array([0, 1, 0]), 6.0
    )
    assert knock.reading == 2


def test_an_error_is_estimated_from_its_residual_and_redundancy():
    # Baarda 1968: an error of 10 in one reading leaves a residual of -r times it.
    found = causes.estimate_errors(np.array([-2.5, 0.0]), np.array([0.25, 0.0]))
    assert found[0] == pytest.approx(10.0)
    assert np.isnan(found[1])
