"""Concrete strength: the latest field-cured samples against what erection needs.

Beside the gate, and kept apart from it: whether the concrete as delivered is accepted
(standard-cured tests), and when the gate is likely to open (`forecast`).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from checks.engine import strength
from checks.evaluation.forecast import forecast
from checks.evaluation.json_values import number
from checks.evaluation.limits import required_strength
from checks.evaluation.observe import Observations
from checks.evaluation.table import CheckTable
from checks.tolerances import Limits
from jobs.plan import model
from jobs.plan.model import Plan
from jobs.plan.sheet import Kind

ACCEPTANCE_NOTE = (
    "Acceptance of the concrete as delivered, from standard-cured cylinders. It says "
    "nothing about when columns may be set: the gate is judged by field-cured samples."
)
FEW_TESTS_NOTE = " With fewer than three tests no average of three is judged yet."
ACCEPTANCE_SOURCE = "ACI 318-19 26.12.3.1 (secondary)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Concrete:
    """The strength gate; NaN where nothing is known. [MPa]"""

    ratio: float
    strength: float
    required: float
    required_ratio: float
    route: str | None
    samples: tuple[str, ...]
    verdict: str


def judge_concrete(
    plan: Plan, table: CheckTable, observed: Observations, limits: Limits
) -> Concrete:
    """The lowest of the latest day's samples against either legal route."""
    rows = table.rows(Kind.STRENGTH)
    rows = rows[observed.count[rows] > 0]
    specified = plan.concrete.specified_strength
    sufficient = plan.concrete.sufficient_strength
    nan = float("nan")
    if not rows.size or (specified is None and sufficient is None):
        return Concrete(
            ratio=nan,
            strength=nan,
            required=nan,
            route=None,
            samples=(),
            required_ratio=limits.strength_ratio(),
            verdict="unmeasured",
        )
    days, means = zip(*(_latest(observed, row) for row in rows), strict=True)
    gate = strength.judge_gate(
        np.array(means),
        specified_mpa=nan if specified is None else specified,
        sufficient_mpa=nan if sufficient is None else sufficient,
        ratio=limits.strength_ratio(),
        day=np.array(days),
    )
    return Concrete(
        ratio=gate.ratio,
        strength=gate.strength_mpa,
        required=gate.required_mpa,
        required_ratio=limits.strength_ratio(),
        route=gate.route,
        samples=tuple(table.checks[row].key for row in rows[gate.samples]),
        verdict="within" if gate.open else "outside",
    )


def latest_mean(observed: Observations, row: int) -> float:
    """The mean of a sample's latest day, which the gate goes by; NaN without. [MPa]"""
    return _latest(observed, row)[1] if observed.count[row] else float("nan")


def _latest(observed: Observations, row: int) -> tuple[float, float]:
    """The day a sample was last broken, as an ordinal, and the mean of that day. [MPa]

    A reading of no known day counts with the latest; NaN where no day is known.
    """
    readings = observed.readings[row]
    days = [None if r.at is None else r.at.date().toordinal() for r in readings]
    last = max((day for day in days if day is not None), default=None)
    values = [
        reading.value
        for reading, day in zip(readings, days, strict=True)
        if day is None or day == last
    ]
    return float("nan") if last is None else float(last), float(np.mean(values))


def as_result(plan: Plan, concrete: Concrete, limits: Limits) -> dict[str, Any]:
    """The result document's `concrete`."""
    asked = plan.concrete
    return {
        "ratio": number(concrete.ratio),
        "verdict": concrete.verdict,
        "strength": number(concrete.strength),
        "required": number(concrete.required),
        "route": concrete.route,
        "samples": list(concrete.samples),
        "acceptance": _acceptance(asked),
        "forecast": None
        if asked.maturity is None
        else forecast(asked.maturity, required_strength(plan, limits), asked.placed_on),
    }


def _acceptance(asked: model.Concrete) -> dict[str, Any] | None:
    """The standard-cured tests judged; None where there are none."""
    if not asked.standard_cured or asked.specified_strength is None:
        return None
    tests = asked.standard_cured
    found = strength.judge_acceptance(tests, asked.specified_strength)
    averages = zip(found.average_of_three_mpa, found.average_low, strict=True)
    return {
        "accepted": found.accepted,
        "specified": number(asked.specified_strength),
        "lowest_allowed": number(found.lowest_allowed_mpa),
        "tests": [
            {"test": place, "strength": number(test), "low": bool(low)}
            for place, (test, low) in enumerate(
                zip(tests, found.test_low, strict=True), start=1
            )
        ],
        "averages": [
            {
                "tests": [first, first + 1, first + 2],
                "strength": number(average),
                "low": bool(low),
            }
            for first, (average, low) in enumerate(averages, start=1)
        ],
        "note": ACCEPTANCE_NOTE + FEW_TESTS_NOTE * (len(tests) < 3),
        "source": ACCEPTANCE_SOURCE,
    }
