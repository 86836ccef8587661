"""The strength gate, and what forecasts it without opening it."""

import math

import numpy as np
import pytest
from scipy.stats import studentized_range

from checks.engine.concrete.forecast import fit_curve, forecast_gate
from checks.engine.concrete.strength import (
    PSI_MPA,
    RANGE_FACTORS,
    assess_acceptance,
    assess_companions,
    assess_strength_gate,
    compute_age_factor,
    compute_equivalent_age,
    compute_nurse_saul,
)
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


def test_an_older_poor_sample_is_superseded_and_a_newer_poor_one_is_not():
    old = assess_strength_gate([10.0, 18.0], specified_mpa=20.0, day=[3, 7])
    new = assess_strength_gate([18.0, 10.0], specified_mpa=20.0, day=[3, 7])
    assert old.open
    assert not new.open


def test_a_sample_of_unknown_day_is_taken_as_one_of_the_latest():
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


def test_frozen_hours_add_no_maturity_and_take_none():
    assert compute_nurse_saul([10.0, -5.0, 10.0], 24.0) == 480.0


def test_maturity_is_added_up_for_many_placements_at_once():
    temperature = np.array([[10.0, 20.0], [5.0, 5.0]])
    assert compute_nurse_saul(temperature, [12.0, 24.0]).tolist() == [600.0, 180.0]
    assert compute_equivalent_age(np.full((2, 3), 20.0), 8.0) == pytest.approx(
        [24.0, 24.0]
    )


def test_a_forecast_returns_the_day_the_curve_was_made_with():
    hours = np.array([24, 72, 168, 336.0])
    curve = fit_curve(hours, 2.0 + 3.0 * np.log(hours))
    assert curve.slope_mpa == pytest.approx(3.0)
    assert curve.strength(100.0) == pytest.approx(2.0 + 3.0 * math.log(100.0))
    need = 2.0 + 3.0 * math.log(200.0)
    found = forecast_gate(curve, need, 168.0, (0.5, 1.0, 2.0))
    assert found.maturity == pytest.approx(200.0)
    assert found.likely_h == pytest.approx(32.0)
    # No scatter: the range is the temperatures' alone.
    assert found.earliest_h == pytest.approx(16.0, abs=1e-6)
    assert found.latest_h == pytest.approx(64.0, abs=1e-6)


def test_the_range_is_where_the_prediction_limits_cross_the_requirement():
    # Against the limits themselves, as statsmodels draws them.
    import statsmodels.api as sm

    hours = np.array([24, 48, 72, 120, 168, 336.0])
    strength = np.array([6.1, 9.4, 10.9, 13.2, 14.1, 17.6])
    need = 15.0
    curve = fit_curve(hours, strength)
    found = forecast_gate(curve, need, 1.0, (1.0, 1.0, 1.0))
    fit = sm.OLS(strength, sm.add_constant(np.log(hours))).fit()
    ends = 1.0 + np.array([found.earliest_h, found.latest_h])
    frame = fit.get_prediction(np.column_stack([np.ones(2), np.log(ends)]))
    limits = frame.conf_int(obs=True, alpha=0.05)
    assert limits[0, 1] == pytest.approx(need, abs=1e-9)
    assert limits[1, 0] == pytest.approx(need, abs=1e-9)
    assert found.earliest_h < found.likely_h < found.latest_h


def test_two_samples_give_a_day_but_no_range():
    found = forecast_gate(fit_curve([24, 72], [6, 9]), 12.0, 72.0, (1, 1, 1))
    assert found.likely_h == pytest.approx(144.0)
    assert math.isnan(found.earliest_h)
    assert math.isnan(found.latest_h)


def test_scattered_samples_give_no_latest_day():
    curve = fit_curve([24, 48, 72], [6, 12, 7])
    found = forecast_gate(curve, 15.0, 72.0, (1, 1, 1))
    assert found.earliest_h == 0.0
    assert found.latest_h == math.inf


def test_concrete_too_cold_to_age_has_no_latest_day():
    curve = fit_curve([24, 72, 168], [6.0, 9.1, 11.0])
    found = forecast_gate(curve, 12.0, 168.0, (0.0, 5.0, 10.0))
    assert found.latest_h == math.inf
    assert math.isfinite(found.likely_h)


@pytest.mark.parametrize(
    ("maturity", "strength", "says"),
    [
        ([24], [6], "two ages"),
        ([24, 24], [6, 7], "two ages"),
        ([0, 24], [6, 7], "above zero"),
        ([24, 72], [9, 6], "gain"),
    ],
)
def test_samples_that_forecast_nothing_are_refused(maturity, strength, says):
    with pytest.raises(EngineError, match=says):
        fit_curve(maturity, strength)


def test_the_pound_per_square_inch_is_the_defined_one():
    assert pytest.approx(0.006894757293168361, rel=1e-15) == PSI_MPA


def test_concrete_at_the_reference_temperature_ages_hour_by_hour():
    assert compute_age_factor(23.0, reference_c=23.0) == 1.0


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


def test_a_single_cylinder_disagrees_with_nothing():
    assert assess_companions([20.0]).agree
    assert assess_companions([20.0]).relative_range == 0.0


def test_the_factors_are_those_of_the_studentised_range():
    # 95 % points of the studentised range, infinite degrees of freedom, to 0.07
    exact = [studentized_range.ppf(0.95, n, 1e5) for n in range(2, 11)]
    assert exact == pytest.approx(RANGE_FACTORS, abs=0.07)


def test_more_than_ten_companions_are_judged_as_ten():
    many = [20.0] * 11 + [23.0]
    assert (
        assess_companions(many).allowed_range
        == assess_companions([20.0] * 10).allowed_range
    )
