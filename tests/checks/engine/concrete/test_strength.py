"""The strength gate, and what forecasts it without opening it."""

import math

import pytest
from scipy.stats import studentized_range

from checks.engine.concrete.strength import (
    RANGE_FACTORS,
    assess_acceptance,
    assess_companions,
    assess_strength_gate,
)
from checks.engine.constants import PSI_MPA
from checks.engine.errors import EngineError

NAN = float("nan")


def test_the_lowest_of_the_latest_day_counts():
    gate = assess_strength_gate(
        [10.0, 30.0, 16.2, 15.8], specified_mpa=20.0, day=[3, 5, 7, 7], ratio=0.75
    )
    assert gate.strength_mpa == 15.8
    assert gate.sample == 3
    assert gate.samples.tolist() == [2, 3]
    assert gate.ratio == pytest.approx(0.79)
    assert gate.open


def test_a_later_sample_supersedes_an_earlier_one():
    old = assess_strength_gate([10.0, 18.0], specified_mpa=20.0, day=[3, 7])
    new = assess_strength_gate([18.0, 10.0], specified_mpa=20.0, day=[3, 7])
    assert old.open
    assert not new.open


def test_a_sample_of_unknown_day_counts_as_one_of_the_latest():
    gate = assess_strength_gate([18.0, 10.0, 18.0], specified_mpa=20.0, day=[7, NAN, 3])
    assert gate.samples.tolist() == [0, 1]
    assert not gate.open


def test_without_days_all_samples_count():
    assert assess_strength_gate([18.0, 12.0], specified_mpa=20.0).strength_mpa == 12.0
    gate = assess_strength_gate([18.0, 12.0], specified_mpa=20.0, day=[NAN, NAN])
    assert gate.strength_mpa == 12.0


def test_either_route_opens_the_gate_and_the_lesser_need_is_named():
    gate = assess_strength_gate([13.0], specified_mpa=20.0, sufficient_mpa=12.0)
    assert gate.open
    assert (gate.route, gate.required_mpa) == ("sufficient", 12.0)
    gate = assess_strength_gate([15.5], specified_mpa=20.0, sufficient_mpa=18.0)
    assert gate.open
    assert (gate.route, gate.required_mpa) == ("ratio", 15.0)


def test_the_engineers_strength_alone_is_a_route():
    gate = assess_strength_gate([12.0], sufficient_mpa=12.0)
    assert gate.open
    assert math.isnan(gate.ratio)


def test_without_a_requirement_or_a_sample_the_gate_stays_shut():
    assert not assess_strength_gate([50.0]).open
    assert assess_strength_gate([50.0]).route is None
    empty = assess_strength_gate([], specified_mpa=20.0)
    assert not empty.open
    assert empty.sample == -1


def test_acceptance_with_two_tests_looks_only_at_each():
    found = assess_acceptance([20.0, 18.0], 20.0)
    assert found.average_of_three_mpa.size == 0
    assert found.accepted


def test_acceptance_without_tests_is_refused():
    with pytest.raises(EngineError, match="no strength test"):
        assess_acceptance([], 20.0)


def test_the_pound_per_square_inch_is_the_defined_one():
    assert pytest.approx(0.006894757293168361, rel=1e-15) == PSI_MPA


@pytest.mark.parametrize(
    ("companions", "agree"),
    [
        # ASTM C39 (from memory), 4 by 8 in cylinders: 9.0 % for two, 10.6 % for three
        ([20.0, 21.8], True),
        ([20.0, 22.0], False),
        ([20.0, 21.0, 22.1], True),
        ([20.0, 21.0, 22.4], False),
    ],
)
def test_companions_may_be_so_far_apart_and_no_further(
    companions: list[float], agree: bool
) -> None:
    assert assess_companions(companions).agree is agree


def test_a_single_cylinder_cannot_disagree():
    assert assess_companions([20.0]).agree
    assert assess_companions([20.0]).relative_range == 0.0


def test_the_factors_are_those_of_the_studentised_range():
    # 95 % points of the studentised range, infinite degrees of freedom, to 0.07
    exact = [studentized_range.ppf(0.95, n, 1e5) for n in range(2, 11)]
    assert exact == pytest.approx(RANGE_FACTORS, abs=0.07)


def test_more_than_ten_companions_count_as_ten():
    many = [20.0] * 11 + [23.0]
    assert (
        assess_companions(many).allowed_range
        == assess_companions([20.0] * 10).allowed_range
    )
