"""The day the strength gate is likely to open, from how warm the concrete has been.

A forecast for planning, never a release: only field-cured samples open the gate.
Hours are counted from placing; no clock is asked what time it is now.
"""

import math
from datetime import date, timedelta
from typing import Any

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.concrete.forecast import GateForecast, fit_curve, forecast_gate
from checks.engine.concrete.maturity import compute_equivalent_age, compute_nurse_saul
from checks.engine.errors import EngineError
from checks.evaluation.json_values import to_json_number
from jobs.anchor_plan.values import MaturitySpec

CONFIDENCE = 0.95

FORECAST_NOTE = (
    "A forecast for planning. It never opens the gate: only field-cured samples do "
    "(29 CFR 1926.752(a)(1))."
)
METHOD_SOURCES = {
    "nurse_saul": "Nurse-Saul maturity, ASTM C1074 (secondary)",
    "equivalent_age": "equivalent age, ASTM C1074 (secondary)",
}
FORECAST_SOURCES = (
    "a curve of this very mixture, and a second method before anything is loaded, "
    "ASTM C1074 (from memory)",
    "strength as a straight line over the logarithm of maturity, J. M. Plowman 1956 "
    "(from memory)",
)
FREEZING_C, HOT_C = 0.0, 40.0
"""What the usual constants of equivalent age are given for (secondary). [°C]"""
DAY_H = 24.0
UNKNOWN_FORECAST = GateForecast(
    maturity=math.nan, likely_h=math.nan, earliest_h=math.nan, latest_h=math.nan
)
PLACING_HOUR = {"earliest": 0.0, "likely": 12.0, "latest": 24.0}
"""The hour of the day of placing that each date takes, because it is not known. [h]"""


def forecast_result(
    known: MaturitySpec, required_mpa: float, placed_on: date | None
) -> dict[str, Any]:
    """The result document's `concrete.forecast`.

    Parameters
    ----------
    known : the mixture's curve, the temperatures since placing and those expected.
    required_mpa : float
        What the gate requires. [MPa]
    placed_on : the day of placing; None where it is not known.
    """
    hours, celsius = np.array(known.temperatures, dtype=float).T
    maturity, cylinders = np.array(known.curve, dtype=float).T
    now = _accumulated_maturity(known, celsius, hours)
    slow, likely, fast = (
        _accumulated_maturity(known, np.array([expected]), np.ones(1))
        for expected in known.expected
    )
    head = {
        "method": "equivalent_age" if known.datum is None else "nurse_saul",
        "unit": "h" if known.datum is None else "degC h",
        "required": to_json_number(required_mpa),
        "maturity_now": to_json_number(now),
        "elapsed_hours": to_json_number(float(hours.sum())),
        "confidence": CONFIDENCE,
    }
    sources = [METHOD_SOURCES[str(head["method"])], *FORECAST_SOURCES]
    tail = {"note": FORECAST_NOTE, "sources": sources}
    try:
        curve = fit_curve(maturity, cylinders)
    except EngineError as error:
        return (
            head
            | _forecast_numbers(UNKNOWN_FORECAST, None)
            | {"remarks": [str(error)]}
            | tail
        )
    ahead = forecast_gate(curve, required_mpa, now, (slow, likely, fast), CONFIDENCE)
    dates = {
        "opens_on": None
        if placed_on is None
        else _forecast_dates(placed_on, float(hours.sum()), ahead)
    }
    remarks = _forecast_remarks(ahead, (slow, likely), float(maturity.max()), placed_on)
    remarks += _temperature_remarks(known, celsius)
    inside = maturity.min() <= now <= maturity.max()
    now_mpa = float(curve.strength(now)) if inside else None
    return (
        head | _forecast_numbers(ahead, now_mpa) | dates | {"remarks": remarks} | tail
    )


def _accumulated_maturity(
    known: MaturitySpec, celsius: FloatArray, hours: FloatArray
) -> float:
    """What these temperatures add. [°C h by Nurse and Saul, h by equivalent age]"""
    if known.datum is not None:
        return float(compute_nurse_saul(celsius, hours, known.datum))
    if known.activation is None or known.reference is None:
        raise ValueError("Maturity needs a datum, or an activation and a reference.")
    return float(
        compute_equivalent_age(celsius, hours, known.activation, known.reference)
    )


def _forecast_numbers(ahead: GateForecast, now_mpa: float | None) -> dict[str, Any]:
    """The numbers, null where they are not reached or cannot be told."""
    return {
        "strength_now": to_json_number(now_mpa),
        "maturity_needed": to_json_number(ahead.maturity),
        "likely_hours": to_json_number(ahead.likely_h),
        "earliest_hours": to_json_number(ahead.earliest_h),
        "latest_hours": to_json_number(ahead.latest_h),
        "opens_on": None,
    }


def _forecast_dates(
    placed_on: date, elapsed_h: float, ahead: GateForecast
) -> dict[str, Any]:
    """The days those hours come to, the hour of placing taken as far as it can be."""
    hours = {
        "likely": ahead.likely_h,
        "earliest": ahead.earliest_h,
        "latest": ahead.latest_h,
    }
    return {
        name: _date_after_hours(placed_on, PLACING_HOUR[name] + elapsed_h + each)
        for name, each in hours.items()
    }


def _date_after_hours(placed_on: date, hours: float) -> str | None:
    """The day so many hours after the day of placing began; None without one."""
    if not math.isfinite(hours):
        return None
    try:
        return (placed_on + timedelta(days=math.floor(hours / DAY_H))).isoformat()
    except OverflowError:
        return None


def _temperature_remarks(known: MaturitySpec, celsius: FloatArray) -> list[str]:
    """Say where equivalent age counts what frozen or hot concrete does not do.

    Nurse-Saul needs no such remark: it counts nothing below the datum it was given.
    """
    if known.datum is not None:
        return []
    met = np.array([*celsius, *known.expected])
    remarks = []
    if met.min() < FREEZING_C:
        remarks.append(
            "Equivalent age goes on growing below 0 °C, where concrete gains little or "
            "nothing: what it gained there is a guess, and the dates may be too early."
        )
    if met.max() > HOT_C:
        remarks.append(
            "The usual activation is for 0 to 40 °C; above that the forecast is a "
            "guess."
        )
    return remarks


def _forecast_remarks(
    ahead: GateForecast,
    rates: tuple[float, float],
    oldest: float,
    placed_on: date | None,
) -> list[str]:
    """Say why a figure is not there, and what those that are lean on."""
    slow, likely = rates
    remarks = []
    if likely <= 0 and ahead.likely_h > 0:
        remarks.append("At the likely temperature the concrete gains no strength.")
    if math.isnan(ahead.earliest_h):
        remarks.append("Two cylinders give no range; three or more do.")
    elif math.isinf(ahead.latest_h):
        remarks.append(
            "At the low temperature the concrete gains no strength: there is no "
            "latest day."
            if slow <= 0
            else "The cylinders scatter too much to give a latest day."
        )
    if ahead.maturity > oldest:
        remarks.append(
            "The strength needed lies past the oldest cylinder of the curve, where "
            "the curve is a guess."
        )
    if placed_on is None:
        remarks.append("The day of placing is not known, so no date is given.")
    else:
        remarks.append(
            "The hour of placing is not known: the likely date takes noon, the "
            "earliest and the latest the two ends of that day."
        )
    return remarks
