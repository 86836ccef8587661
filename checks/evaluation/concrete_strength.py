"""Concrete strength: the latest field-cured samples against what erection needs.

Kept apart from this gate: whether the concrete as delivered is accepted
(standard-cured tests), and when the gate is likely to open (`gate_forecast`).
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from checks.engine.arrays import BoolArray, IntArray
from checks.engine.concrete import strength
from checks.evaluation import sample_plausibility
from checks.evaluation.check_limits import required_strength
from checks.evaluation.check_table import CheckTable
from checks.evaluation.gate_forecast import forecast_result
from checks.evaluation.json_values import to_json_number
from checks.evaluation.reduce_readings import Observations
from checks.tolerances.limits import ToleranceLimits
from core.formatting import get_default_style
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import ConcreteSpec, Plan, ReadingValue
from jobs.exchange.input.plausibility import explain_break_day
from jobs.exchange.result.concrete import (
    AcceptanceResult,
    ConcreteResult,
    StrengthAverageResult,
    StrengthTestResult,
)

ACCEPTANCE_NOTE = (
    "Acceptance of the concrete as delivered, from standard-cured cylinders. It does "
    "not open the gate: field-cured samples decide when columns may be set."
)
TOO_FEW_TESTS_NOTE = " With fewer than three tests there is no average of three yet."
MIN_TESTS_FOR_AVERAGE = 3
ACCEPTANCE_SOURCE = "ACI 318-19 26.12.3.1 (secondary)"
NO_STRENGTH_REASON = "The plan gives no strength to compare the sample with."


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcreteEvaluation:
    """The strength gate; NaN where a value is not known. [MPa]

    `reason` tells why there is no verdict, or a doubtful one; None where the verdict
    explains itself. `doubtful` are the samples to be confirmed by another, which do
    not count until then.
    """

    ratio: float
    strength: float
    required: float
    required_ratio: float
    route: str | None
    samples: tuple[str, ...]
    verdict: Verdict
    reason: str | None
    doubtful: tuple[str, ...] = ()


def evaluate_concrete(
    plan: Plan, table: CheckTable, observations: Observations, limits: ToleranceLimits
) -> ConcreteEvaluation:
    """Compare the lowest of the latest day's samples with either legal route.

    Samples dated before the concrete was placed are left out. Where the companions of
    a sample disagree, their mean cannot be trusted and the gate asks for another look.
    """
    rows = table.rows(CheckKind.STRENGTH)
    rows = rows[observations.count[rows] > 0]
    plausible = rows[~observations.impossible[rows]]
    specified = plan.concrete.specified_strength
    sufficient = plan.concrete.sufficient_strength
    nan = float("nan")
    if not rows.size or (specified is None and sufficient is None):
        return _unmeasured_concrete(limits, NO_STRENGTH_REASON if rows.size else None)
    if not plausible.size:
        return _unusable_concrete(plan, table, observations, limits)
    days, means = zip(
        *(_latest_day_and_mean(plan, observations, row) for row in plausible),
        strict=True,
    )
    gate = strength.assess_strength_gate(
        np.array(means),
        specified_mpa=nan if specified is None else specified,
        sufficient_mpa=nan if sufficient is None else sufficient,
        ratio=limits.strength_ratio(),
        day=np.array(days),
    )
    # The gate names its samples by index into what it was given.
    latest = plausible[gate.samples]
    reason = _describe_disagreement(plan, table, observations, latest)
    verdict = Verdict.WITHIN if gate.open else Verdict.OUTSIDE
    doubtful = _find_unconfirmed(plan, observations, rows)
    # A later sample is not believed yet: the gate stays shut by the earlier ones.
    unconfirmed: tuple[str, ...] = ()
    if not gate.open and doubtful.size and not reason:
        unconfirmed = tuple(table.checks[row].key for row in doubtful)
        reason = _describe_unusable_samples(plan, table, observations, doubtful)
    return ConcreteEvaluation(
        ratio=gate.ratio,
        strength=gate.strength_mpa,
        required=gate.required_mpa,
        required_ratio=limits.strength_ratio(),
        route=gate.route,
        samples=tuple(table.checks[row].key for row in latest),
        verdict=Verdict.REMEASURE if reason else verdict,
        reason=reason,
        doubtful=unconfirmed,
    )


def _find_unconfirmed(
    plan: Plan, observations: Observations, rows: IntArray
) -> IntArray:
    """Return the rows of samples that count for nothing although their date may be."""
    dated = [
        any(_is_plausible_date(plan, r) for r in observations.readings[row])
        for row in rows
    ]
    waiting = observations.impossible[rows] & np.array(dated, dtype=bool)
    return np.asarray(rows[waiting], dtype=int)


def _unusable_concrete(
    plan: Plan, table: CheckTable, observations: Observations, limits: ToleranceLimits
) -> ConcreteEvaluation:
    """Return the gate where no sample counts; one that waits is to be confirmed."""
    rows = table.rows(CheckKind.STRENGTH)
    rows = rows[observations.count[rows] > 0]
    reason = _describe_unusable_samples(plan, table, observations, rows)
    shut = _unmeasured_concrete(limits, reason)
    waiting = _find_unconfirmed(plan, observations, rows)
    if not waiting.size:
        return shut
    return replace(
        shut,
        verdict=Verdict.REMEASURE,
        samples=tuple(table.checks[row].key for row in waiting),
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
        verdict=Verdict.UNMEASURED,
        reason=reason,
    )


def flag_invalid_samples(
    plan: Plan, table: CheckTable, observations: Observations
) -> Observations:
    """Flag samples with an impossible date, and those whose companions disagree."""
    impossible, disagree = observations.impossible.copy(), observations.disagree.copy()
    for row in table.rows(CheckKind.STRENGTH):
        readings = observations.readings[row]
        if readings:
            # One plausible date is enough: the others may be typing errors.
            impossible[row] = not any(
                _is_plausible_date(plan, each) for each in readings
            )
            disagree[row] = not _compare_companions(plan, observations, row).agree
    impossible[find_unconfirmed_rows(plan, table, observations, impossible)] = True
    return replace(observations, impossible=impossible, disagree=disagree)


def find_unconfirmed_rows(
    plan: Plan, table: CheckTable, observations: Observations, impossible: BoolArray
) -> IntArray:
    """Find the rows of samples too strong for their age that nothing confirms."""
    rows = table.rows(CheckKind.STRENGTH)
    rows = rows[(observations.count[rows] > 0) & ~impossible[rows]]
    samples = [_collect_breaks(plan, table, observations, row) for row in rows]
    unconfirmed = sample_plausibility.find_unconfirmed(plan.concrete, samples)
    return np.asarray(rows[unconfirmed], dtype=int)


def _collect_breaks(
    plan: Plan, table: CheckTable, observations: Observations, row: int
) -> sample_plausibility.SampleBreaks:
    day, mean = _latest_day_and_mean(plan, observations, row)
    return sample_plausibility.SampleBreaks(
        name=table.checks[row].name or "",
        day=day,
        mean_mpa=mean,
        readings=observations.readings[row],
    )


def sample_remeasure_reason(
    plan: Plan, table: CheckTable, observations: Observations, row: int
) -> str:
    """Return why a sample must be checked again."""
    if observations.impossible[row]:
        return _describe_unusable_samples(plan, table, observations, [row])
    return _describe_disagreement(plan, table, observations, [row]) or ""


def _describe_unusable_samples(
    plan: Plan, table: CheckTable, observations: Observations, rows: Iterable[int]
) -> str:
    """Describe samples that count for nothing: broken too early, or not believed."""
    early: list[int] = []
    sentences = []
    for row in rows:
        if any(_is_plausible_date(plan, r) for r in observations.readings[row]):
            breaks = _collect_breaks(plan, table, observations, row)
            style = get_default_style(plan.length_unit)
            sentences.append(
                sample_plausibility.describe_unconfirmed(plan.concrete, breaks, style)
            )
        else:
            early.append(row)
    if early:
        sentences.insert(0, _describe_early_samples(plan, table, early))
    return " ".join(sentences)


def _describe_early_samples(plan: Plan, table: CheckTable, rows: Iterable[int]) -> str:
    names = ", ".join(table.checks[row].name or "" for row in rows)
    return (
        f"{names}: dated before {plan.concrete.placed_on} or on that day, when the"
        " concrete was placed. One of the two dates is wrong."
    )


def _describe_disagreement(
    plan: Plan, table: CheckTable, observations: Observations, rows: Iterable[int]
) -> str | None:
    """Describe the samples whose companions are too far apart, and by how much."""
    sentences = []
    for row in rows:
        if observations.disagree[row]:
            companions = _compare_companions(plan, observations, row)
            sentences.append(
                f"The companion cylinders of {table.checks[row].name} differ by"
                f" {companions.relative_range:.1%} of their mean, more than the"
                f" {companions.allowed_range:.1%} that the test explains (ASTM C39,"
                " from memory). Check the reports, or break another sample."
            )
    return " ".join(sentences) or None


def latest_sample_mean(plan: Plan, observations: Observations, row: int) -> float:
    """Return the mean of a sample's latest day; NaN without readings. [MPa]"""
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
    """Return the ordinal of a sample's latest day (NaN if unknown) and mean. [MPa]"""
    day, strengths = _latest_breaks(plan, observations, row)
    return day, float(np.mean(strengths))


def _latest_breaks(
    plan: Plan, observations: Observations, row: int
) -> tuple[float, list[float]]:
    """Return the ordinal of a sample's latest day, and the strengths of it. [MPa]

    A reading without a day counts with the latest. One dated before the concrete was
    placed counts only where there is no other.
    """
    every = observations.readings[row]
    readings = [r for r in every if _is_plausible_date(plan, r)] or list(every)
    days = [None if r.at is None else r.at.date().toordinal() for r in readings]
    latest = max((day for day in days if day is not None), default=None)
    strengths = [
        reading.value
        for reading, day in zip(readings, days, strict=True)
        if day is None or day == latest
    ]
    return float("nan") if latest is None else float(latest), strengths


def _is_plausible_date(plan: Plan, reading: ReadingValue) -> bool:
    """Return True for a sample that was broken after the day of placing."""
    at, placed_on = reading.at, plan.concrete.placed_on
    return at is None or explain_break_day(at.date(), placed_on) is None


def concrete_result(
    plan: Plan, concrete: ConcreteEvaluation, limits: ToleranceLimits
) -> ConcreteResult:
    """Return the result document's `concrete`."""
    spec = plan.concrete
    return {
        "ratio": to_json_number(concrete.ratio),
        "verdict": concrete.verdict.value,
        "strength": to_json_number(concrete.strength),
        "required": to_json_number(concrete.required),
        "route": concrete.route,
        "samples": list(concrete.samples),
        "reason": concrete.reason,
        "acceptance": _acceptance_result(spec),
        "forecast": None
        if spec.maturity is None
        else forecast_result(
            spec.maturity, required_strength(plan, limits), spec.placed_on
        ),
    }


def _acceptance_result(spec: ConcreteSpec) -> AcceptanceResult | None:
    """Return the acceptance by standard-cured tests; None where there are none."""
    if not spec.standard_cured or spec.specified_strength is None:
        return None
    acceptance = strength.assess_acceptance(
        spec.standard_cured, spec.specified_strength
    )
    tests: list[StrengthTestResult] = [
        {"test": number, "strength": to_json_number(test), "low": bool(low)}
        for number, (test, low) in enumerate(
            zip(spec.standard_cured, acceptance.test_low, strict=True), start=1
        )
    ]
    averages: list[StrengthAverageResult] = [
        {
            "tests": [first, first + 1, first + 2],
            "strength": to_json_number(average),
            "low": bool(low),
        }
        for first, (average, low) in enumerate(
            zip(acceptance.average_of_three_mpa, acceptance.average_low, strict=True),
            start=1,
        )
    ]
    too_few = len(tests) < MIN_TESTS_FOR_AVERAGE
    return {
        "accepted": acceptance.accepted,
        "specified": to_json_number(spec.specified_strength),
        "lowest_allowed": to_json_number(acceptance.lowest_allowed_mpa),
        "tests": tests,
        "averages": averages,
        "note": ACCEPTANCE_NOTE + TOO_FEW_TESTS_NOTE * too_few,
        "source": ACCEPTANCE_SOURCE,
    }
