"""One check worked out for its page: readings, corrections, uncertainty, verdict."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from checks.evaluation.check_calculation import (
    CheckCalculation,
    ReadingCalculation,
    trace_check,
)
from checks.evaluation_input import load_evaluation_input
from checks.labels import describe_check
from checks.models import Reading
from checks.queries.evaluated_plan import EvaluatedPlan
from checks.queries.limit_rows import LimitRow, list_kind_limits
from checks.queries.reading_history import ReadingHistoryRow, build_history_rows
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import find_check
from jobs.anchor_plan.planned_checks import Check

CORRECTION_LABELS = {
    "standardisation": "tape's own length",
    "temperature": "temperature",
    "tension": "pull",
    "sag": "sag",
    "slope": "slope",
}
UNCERTAINTY_LABELS = {
    "class": "tape, by its accuracy class",
    "resolution": "resolution of the reading",
    "temperature": "temperature not noted",
    "level": "level and rod over the sight",
}
COVERAGE_FACTOR = 2.0
UNMEASURED_CHECK: Mapping[str, Any] = {
    "verdict": "unmeasured",
    "close_to_limit": False,
    "reason": "",
    **dict.fromkeys(
        ("nominal", "observed", "deviation", "limit", "lower", "upper", "uncertainty")
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CalculatedReading:
    """A reading of the check; `worked` is None where it does not stand."""

    history: ReadingHistoryRow
    calculation: ReadingCalculation | None

    @property
    def corrections(self) -> list[tuple[str, str]]:
        """What was added, by cause. [mm]"""
        if self.calculation is None:
            return []
        return [
            (CORRECTION_LABELS[k], f"{v:+.2f} mm")
            for k, v in self.calculation.corrections.items()
        ]

    @property
    def uncertainties(self) -> list[tuple[str, str]]:
        """Standard uncertainties, by cause. [mm]"""
        if self.calculation is None:
            return []
        return [
            (UNCERTAINTY_LABELS[k], f"{v:.2f} mm")
            for k, v in self.calculation.uncertainties.items()
        ]

    @property
    def combined(self) -> str:
        """Standard uncertainty of the reading. [mm]"""
        if self.calculation is None or not math.isfinite(self.calculation.combined):
            return ""
        return f"{self.calculation.combined:.2f} mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckPage:
    """Everything a check's page tells.

    Attributes
    ----------
    judged : its entry in the latest result; as of one nobody read before there is one.
    length : its entry among the outline's adjusted lengths, None for other kinds.
    """

    check: Check
    label: str
    readings: tuple[CalculatedReading, ...]
    calculation: CheckCalculation
    result: Mapping[str, Any]
    length: Mapping[str, Any] | None
    limits: tuple[LimitRow, ...]

    @property
    def expanded(self) -> float | None:
        """Expanded uncertainty (k = 2) of what was observed. [mm]"""
        sigma = self.result.get("uncertainty")
        return None if sigma is None else COVERAGE_FACTOR * sigma

    @property
    def conformance_text(self) -> str:
        """Probability of conformance, never rounded to what is certain."""
        share = self.result.get("probability")
        if share is None:
            return ""
        if share in (0.0, 1.0):
            return f"{share:.0%}"
        return f"{min(max(share, 0.001), 0.999):.1%}"

    @property
    def repeat_spread(self) -> tuple[float, float] | None:
        """Spread of several readings, and what the instruments explain of it. [mm]"""
        few = (
            len(self.calculation.readings) < 2 or self.check.kind is CheckKind.STRENGTH
        )
        return None if few else (self.calculation.spread, self.calculation.spread_limit)


def load_check_page(found: EvaluatedPlan, key: str) -> CheckPage | None:
    """Work one check of a building out; None where the plan has no such check."""
    try:
        check = find_check(found.plan, key)
    except ValueError:
        return None
    worked = trace_check(load_evaluation_input(found.building).building, check.key)
    of = {each.reading.id: each for each in worked.readings}
    rows = (
        Reading.objects.filter(building=found.building, check_key=check.key)
        .select_related("recorded_by", "instrument", "supersedes", "replaced_by")
        .order_by("pk")
    )
    result = found.result or {}
    lengths = (result.get("squareness") or {}).get("lengths") or ()
    return CheckPage(
        check=check,
        label=describe_check(check, with_mark=True),
        readings=tuple(
            CalculatedReading(history=each, calculation=of.get(each.reading.client_id))
            for each in build_history_rows(rows)
        ),
        calculation=worked,
        result=found.results.checks.get(check.key, UNMEASURED_CHECK),
        length=next((row for row in lengths if row["check"] == check.key), None),
        limits=tuple(list_kind_limits(check.kind, result.get("tolerances") or {})),
    )
