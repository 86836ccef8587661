"""Concrete strength: the latest field-cured samples against what erection needs.

Beside the gate, and kept apart from it: whether the concrete as delivered is accepted
(standard-cured tests), and when the gate is likely to open (`forecast`).
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from checks.engine.concrete import strength
from checks.evaluation.check_limits import required_strength
from checks.evaluation.check_table import CheckTable
from checks.evaluation.gate_forecast import forecast_result
from checks.evaluation.json_values import to_json_number
from checks.evaluation.reduce_readings import Observations
from checks.tolerances.limits import ToleranceLimits
from jobs.anchor_plan import values
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import Plan

ACCEPTANCE_NOTE = (
    "Acceptance of the concrete as delivered, from standard-cured cylinders. It says "
    "nothing about when columns may be set: the gate is judged by field-cured samples."
)
TOO_FEW_TESTS_NOTE = " With fewer than three tests no average of three is judged yet."
ACCEPTANCE_SOURCE = "ACI 318-19 26.12.3.1 (secondary)"
NO_STRENGTH_REASON = "The plan names no strength that a sample could be held against."


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcreteEvaluation:
    """The strength gate; NaN where nothing is known. [MPa]

    `reason` says why it is not evaluation, or to be looked at again; None where the
    verdict speaks for itself.
    """

    ratio: float
    strength: float
    required: float
    required_ratio: float
    route: str | None
    samples: tuple[str, ...]
    verdict: str
    reason: str | None


def evaluate_concrete(
    plan: Plan, table: CheckTable, observations: Observations, limits: ToleranceLimits
) -> ConcreteEvaluation:
    """The lowest of the latest day's samples against either legal route.

    A sample that is dated before the concrete was placed opens nothing, and neither
    does one whose companions are too far apart for their mean to be believed.
    """
    rows = table.rows(CheckKind.STRENGTH)
    rows = rows[observations.count[rows] > 0]
    sound = rows[~observations.impossible[rows]]
    specified = plan.concrete.specified_strength
    sufficient = plan.concrete.sufficient_strength
    nan = float("nan")
    if not rows.size or (specified is None and sufficient is None):
        return _unmeasured_concrete(limits, NO_STRENGTH_REASON if rows.size else None)
    if not sound.size:
        return _unmeasured_concrete(limits, _describe_early_samples(plan, table, rows))
    days, means = zip(
        *(_latest_day_and_mean(plan, observations, row) for row in sound), strict=True
    )
    gate = strength.assess_strength_gate(
        np.array(means),
        specified_mpa=nan if specified is None else specified,
        sufficient_mpa=nan if sufficient is None else sufficient,
        ratio=limits.strength_ratio(),
        day=np.array(days),
    )
    latest = sound[gate.samples]
    reason = _describe_disagreement(plan, table, observations, latest)
    verdict = "within" if gate.open else "outside"
    return ConcreteEvaluation(
        ratio=gate.ratio,
        strength=gate.strength_mpa,
        required=gate.required_mpa,
        required_ratio=limits.strength_ratio(),
        route=gate.route,
        samples=tuple(table.checks[row].key for row in latest),
        verdict="remeasure" if reason else verdict,
        reason=reason,
    )


def _unmeasured_concrete(
    limits: ToleranceLimits, reason: str | None
) -> ConcreteEvaluation:
    nan = float("nan")
    return ConcreteEvaluation(
        ratio=nan,
        strength=nan,
        required=nan,
        required_ratio=limits.strength_ratio(),
        route=None,
        samples=(),
        verdict="unmeasured",
        reason=reason,
    )


def flag_invalid_samples(
    plan: Plan, table: CheckTable, observations: Observations
) -> Observations:
    """Mark the samples whose date cannot be, and those whose companions disagree."""
    impossible, disagree = observations.impossible.copy(), observations.disagree.copy()
    for row in table.rows(CheckKind.STRENGTH):
        readings = observations.readings[row]
        if readings:
            impossible[row] = not any(
                _is_plausible_date(plan, each) for each in readings
            )
            disagree[row] = not _compare_companions(plan, observations, row).agree
    return replace(observations, impossible=impossible, disagree=disagree)


def sample_remeasure_reason(
    plan: Plan, table: CheckTable, observations: Observations, row: int
) -> str:
    """Why a sample is to be looked at again."""
    if observations.impossible[row]:
        return _describe_early_samples(plan, table, [row])
    return _describe_disagreement(plan, table, observations, [row]) or ""


def _describe_early_samples(plan: Plan, table: CheckTable, rows: Iterable[int]) -> str:
    said = ", ".join(table.checks[row].key.partition(":")[2] for row in rows)
    return (
        f"{said}: dated before {plan.concrete.placed_on}, the day the concrete was"
        " placed; one of the two dates is wrong."
    )


def _describe_disagreement(
    plan: Plan, table: CheckTable, observations: Observations, rows: Iterable[int]
) -> str | None:
    """Say which samples' companions are too far apart, and by how much."""
    told = []
    for row in rows:
        if observations.disagree[row]:
            found = _compare_companions(plan, observations, row)
            told.append(
                f"The companion cylinders of {table.checks[row].key.partition(':')[2]}"
                f" are {found.relative_range:.1%} of their mean apart; {found.allowed_range:.1%} is"
                " what the test explains (ASTM C39, from memory). Look at the reports"
                " again, or break another sample."
            )
    return " ".join(told) or None


def latest_sample_mean(plan: Plan, observations: Observations, row: int) -> float:
    """The mean of a sample's latest day, which the gate goes by; NaN without. [MPa]"""
    return (
        _latest_day_and_mean(plan, observations, row)[1]
        if observations.count[row]
        else float("nan")
    )


def _compare_companions(
    plan: Plan, observations: Observations, row: int
) -> strength.CompanionAgreement:
    return strength.assess_companions(_latest_breaks(plan, observations, row)[1])


def _latest_day_and_mean(
    plan: Plan, observations: Observations, row: int
) -> tuple[float, float]:
    """The day a sample was last broken, as an ordinal, and the mean of that day. [MPa]

    NaN where no day is known.
    """
    last, values = _latest_breaks(plan, observations, row)
    return last, float(np.mean(values))


def _latest_breaks(
    plan: Plan, observations: Observations, row: int
) -> tuple[float, list[float]]:
    """The day a sample was last broken, and what was found that day. [MPa]

    A reading of no known day counts with the latest. One dated before the concrete
    was placed counts only where there is no other.
    """
    given = observations.readings[row]
    readings = [r for r in given if _is_plausible_date(plan, r)] or list(given)
    days = [None if r.at is None else r.at.date().toordinal() for r in readings]
    last = max((day for day in days if day is not None), default=None)
    values = [
        reading.value
        for reading, day in zip(readings, days, strict=True)
        if day is None or day == last
    ]
    return float("nan") if last is None else float(last), values


def _is_plausible_date(plan: Plan, reading: values.ReadingValue) -> bool:
    """Whether a sample can have been broken that day: not before it was placed."""
    placed = plan.concrete.placed_on
    return placed is None or reading.at is None or reading.at.date() >= placed


def concrete_result(
    plan: Plan, concrete: ConcreteEvaluation, limits: ToleranceLimits
) -> dict[str, Any]:
    """The result document's `concrete`."""
    asked = plan.concrete
    return {
        "ratio": to_json_number(concrete.ratio),
        "verdict": concrete.verdict,
        "strength": to_json_number(concrete.strength),
        "required": to_json_number(concrete.required),
        "route": concrete.route,
        "samples": list(concrete.samples),
        "reason": concrete.reason,
        "acceptance": _acceptance_result(asked),
        "forecast": None
        if asked.maturity is None
        else forecast_result(
            asked.maturity, required_strength(plan, limits), asked.placed_on
        ),
    }


def _acceptance_result(asked: values.ConcreteSpec) -> dict[str, Any] | None:
    """The standard-cured tests judged; None where there are none."""
    if not asked.standard_cured or asked.specified_strength is None:
        return None
    tests = asked.standard_cured
    found = strength.assess_acceptance(tests, asked.specified_strength)
    averages = zip(found.average_of_three_mpa, found.average_low, strict=True)
    return {
        "accepted": found.accepted,
        "specified": to_json_number(asked.specified_strength),
        "lowest_allowed": to_json_number(found.lowest_allowed_mpa),
        "tests": [
            {"test": place, "strength": to_json_number(test), "low": bool(low)}
            for place, (test, low) in enumerate(
                zip(tests, found.test_low, strict=True), start=1
            )
        ],
        "averages": [
            {
                "tests": [first, first + 1, first + 2],
                "strength": to_json_number(average),
                "low": bool(low),
            }
            for first, (average, low) in enumerate(averages, start=1)
        ],
        "note": ACCEPTANCE_NOTE + TOO_FEW_TESTS_NOTE * (len(tests) < 3),
        "source": ACCEPTANCE_SOURCE,
    }
