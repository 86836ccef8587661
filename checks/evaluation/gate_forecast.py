"""Forecast of the day the strength gate opens, from the temperatures of the concrete.

A forecast for planning, never a release: only field-cured samples open the gate.
Hours are counted from placing; no clock is read.
"""

import math
from datetime import date, timedelta

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.concrete.forecast import GateForecast, fit_curve, forecast_gate
from checks.engine.concrete.maturity import compute_equivalent_age, compute_nurse_saul
from checks.engine.errors import EngineError
from checks.evaluation.json_values import to_json_number
from jobs.anchor_plan.values import MaturitySpec
from jobs.exchange.result.concrete import OpeningDaysResult, StrengthForecastResult

CONFIDENCE = 0.95
"""Of the range of dates, two-sided. Project choice."""

FORECAST_NOTE = (
    "A forecast for planning. It never opens the gate: only field-cured samples do "
    "(29 CFR 1926.752(a)(1))."
)
METHOD_SOURCES = {
    "nurse_saul": "Nurse-Saul maturity, ASTM C1074 (secondary)",
    "equivalent_age": "equivalent age, ASTM C1074 (secondary)",
}
FORECAST_SOURCES = (
    "ASTM C1074 (from memory): the curve must be of this mixture, and a second method "
    "must confirm the strength before anything is loaded",
    "J. M. Plowman 1956 (from memory): strength is a straight line over the logarithm "
    "of maturity",
)
FREEZING_C, HOT_C = 0.0, 40.0
"""Range of the usual constants of equivalent age (secondary). [°C]"""
DAY_H = 24.0
UNKNOWN_FORECAST = GateForecast(
    maturity=math.nan, likely_h=math.nan, earliest_h=math.nan, latest_h=math.nan
)
PLACING_HOUR = {"earliest": 0.0, "likely": 12.0, "latest": 24.0}
"""Hour of placing assumed for each date: the plan gives only the day. [h]"""


def forecast_result(
    spec: MaturitySpec, required_mpa: float, placed_on: date | None
) -> StrengthForecastResult:
    """Return the result document's `concrete.forecast`.

    Parameters
    ----------
    spec : the mixture's curve, the temperatures since placing and those expected.
    required_mpa : float
        Strength that the gate requires. [MPa]
    placed_on : the day of placing; None where it is not known.
    """
    hours, celsius = np.array(spec.temperatures, dtype=float).T
    maturity, cylinders = np.array(spec.curve, dtype=float).T
    elapsed = float(hours.sum())
    now = _accumulated_maturity(spec, celsius, hours)
    slow, likely, fast = (
        _accumulated_maturity(spec, np.array([expected]), np.ones(1))
        for expected in spec.expected
    )
    strength_now, opens_on = None, None
    try:
        curve = fit_curve(maturity, cylinders)
    except EngineError as error:
        forecast, remarks = UNKNOWN_FORECAST, [str(error)]
    else:
        rates = (slow, likely, fast)
        forecast = forecast_gate(curve, required_mpa, now, rates, CONFIDENCE)
        remarks = [
            *_forecast_remarks(forecast, (slow, likely), maturity.max(), placed_on),
            *_temperature_remarks(spec, celsius),
        ]
        # Outside its cylinders the curve is not shown as a strength.
        if maturity.min() <= now <= maturity.max():
            strength_now = float(curve.strength(now))
        if placed_on is not None:
            opens_on = _opening_days(placed_on, elapsed, forecast)
    method = "equivalent_age" if spec.datum is None else "nurse_saul"
    return {
        "method": method,
        "unit": "h" if spec.datum is None else "degC h",
        "required": to_json_number(required_mpa),
        "maturity_now": to_json_number(now),
        "elapsed_hours": to_json_number(elapsed),
        "confidence": CONFIDENCE,
        "strength_now": to_json_number(strength_now),
        "maturity_needed": to_json_number(forecast.maturity),
        "likely_hours": to_json_number(forecast.likely_h),
        "earliest_hours": to_json_number(forecast.earliest_h),
        "latest_hours": to_json_number(forecast.latest_h),
        "opens_on": opens_on,
        "remarks": remarks,
        "note": FORECAST_NOTE,
        "sources": [METHOD_SOURCES[method], *FORECAST_SOURCES],
    }


def _accumulated_maturity(
    spec: MaturitySpec, celsius: FloatArray, hours: FloatArray
) -> float:
    """Return the maturity of these temperatures. [°C h Nurse-Saul, h equivalent age]"""
    if spec.datum is not None:
        return float(compute_nurse_saul(celsius, hours, spec.datum))
    if spec.activation is None or spec.reference is None:
        raise ValueError("Maturity needs a datum, or an activation and a reference.")
    return float(
        compute_equivalent_age(celsius, hours, spec.activation, spec.reference)
    )


def _opening_days(
    placed_on: date, elapsed_h: float, forecast: GateForecast
) -> OpeningDaysResult:
    """Return the days of the forecast hours.

    The unknown hour of placing is early for the earliest day, late for the latest.
    """

    def day(name: str, hours: float) -> str | None:
        return _date_after_hours(placed_on, PLACING_HOUR[name] + elapsed_h + hours)

    return {
        "likely": day("likely", forecast.likely_h),
        "earliest": day("earliest", forecast.earliest_h),
        "latest": day("latest", forecast.latest_h),
    }


def _date_after_hours(placed_on: date, hours: float) -> str | None:
    """Return the day so many hours after the start of a day; None if not finite."""
    if not math.isfinite(hours):
        return None
    try:
        return (placed_on + timedelta(days=math.floor(hours / DAY_H))).isoformat()
    except OverflowError:  # a rate near zero gives a date beyond the calendar
        return None


def _temperature_remarks(spec: MaturitySpec, celsius: FloatArray) -> list[str]:
    """Return remarks on temperatures outside the range of equivalent age.

    Nurse-Saul needs none: it counts nothing below its datum.
    """
    if spec.datum is not None:
        return []
    temperatures = np.array([*celsius, *spec.expected])
    remarks = []
    if temperatures.min() < FREEZING_C:
        remarks.append(
            "Equivalent age still grows below freezing, where concrete gains little or "
            "no strength. The forecast is a guess, and the dates may be too early."
        )
    if temperatures.max() > HOT_C:
        remarks.append(
            "The usual activation holds from 0 to 40 °C (32 to 104 °F). Above that the "
            "forecast is a guess."
        )
    return remarks


def _forecast_remarks(
    forecast: GateForecast,
    rates: tuple[float, float],
    oldest: float,
    placed_on: date | None,
) -> list[str]:
    """Return why a value is missing, and what the others assume."""
    slow, likely = rates
    remarks = []
    if likely <= 0 and forecast.likely_h > 0:
        remarks.append("At the likely temperature the concrete gains no strength.")
    if math.isnan(forecast.earliest_h):
        remarks.append("Two cylinders give no range. Three or more do.")
    elif math.isinf(forecast.latest_h):
        remarks.append(
            "At the low temperature the concrete gains no strength, so there is no "
            "latest day."
            if slow <= 0
            else "The cylinders scatter too much to give a latest day."
        )
    if forecast.maturity > oldest:
        remarks.append(
            "The required strength lies beyond the oldest cylinder of the curve, where "
            "the curve is a guess."
        )
    if placed_on is None:
        remarks.append("The day of placing is not known, so no date is given.")
    else:
        remarks.append(
            "The hour of placing is not known. The likely date assumes noon, the "
            "earliest and the latest date the two ends of that day."
        )
    return remarks
