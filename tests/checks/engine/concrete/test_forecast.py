"""The forecast of the day the gate opens."""

import math

import numpy as np
import pytest

from checks.engine.concrete.forecast import fit_curve, forecast_gate
from checks.engine.errors import EngineError

NAN = float("nan")


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
def test_samples_that_allow_no_forecast_are_refused(maturity, strength, says):
    with pytest.raises(EngineError, match=says):
        fit_curve(maturity, strength)
