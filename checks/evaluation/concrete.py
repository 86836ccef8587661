"""Concrete strength: the latest field-cured samples against what erection needs."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from checks.engine import strength
from checks.evaluation.json_values import number
from checks.evaluation.observe import Observations
from checks.evaluation.table import CheckTable
from checks.tolerances import Limits
from jobs.plan.model import Plan
from jobs.plan.sheet import Kind


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


def as_result(concrete: Concrete) -> dict[str, Any]:
    """The result document's `concrete`."""
    return {
        "ratio": number(concrete.ratio),
        "verdict": concrete.verdict,
        "strength": number(concrete.strength),
        "required": number(concrete.required),
        "route": concrete.route,
        "samples": list(concrete.samples),
    }
