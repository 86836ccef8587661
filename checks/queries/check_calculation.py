"""Calculation of one check for its page: corrections, uncertainty, verdict."""

import math
from dataclasses import dataclass

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
from core.formatting import format_probability
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import UnknownCheckError, find_check
from jobs.anchor_plan.planned_checks import Check
from jobs.exchange.result.document import AdjustedLengthResult, CheckResult

CORRECTION_LABELS = {
    "standardisation": "tape's own length",
    "temperature": "temperature",
    "tension": "tension",
    "sag": "sag",
    "slope": "slope",
}
UNCERTAINTY_LABELS = {
    "class": "tape, by its accuracy class",
    "resolution": "resolution of the reading",
    "temperature": "temperature not recorded",
    "handling": "pull, mark and plumb bob",
    "level": "level and rod over the sight distance",
}
COVERAGE_FACTOR = 2.0  # k of the expanded uncertainty
UNMEASURED_CHECK: CheckResult = {
    "check": "",
    "verdict": Verdict.UNMEASURED,
    "close_to_limit": False,
    "reason": "",
    "better_measurement": None,
    "nominal": None,
    "observed": None,
    "deviation": None,
    "limit": None,
    "lower": None,
    "upper": None,
    "uncertainty": None,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CalculatedReading:
    """A reading of the check; `calculation` is None where it is not current.

    `set_aside` is the reason why a current reading is left out of the mean.
    """

    history: ReadingHistoryRow
    calculation: ReadingCalculation | None
    set_aside: str = ""

    @property
    def corrections(self) -> list[tuple[str, float]]:
        """Corrections that were added, by cause. [mm]"""
        if self.calculation is None:
            return []
        return [
            (CORRECTION_LABELS[k], v) for k, v in self.calculation.corrections.items()
        ]

    @property
    def uncertainties(self) -> list[tuple[str, float]]:
        """Standard uncertainties, by cause. [mm]"""
        if self.calculation is None:
            return []
        return [
            (UNCERTAINTY_LABELS[k], v)
            for k, v in self.calculation.uncertainties.items()
        ]

    @property
    def combined(self) -> float | None:
        """Standard uncertainty of the reading; None where not known. [mm]"""
        if self.calculation is None or not math.isfinite(self.calculation.combined):
            return None
        return self.calculation.combined


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckPage:
    """Everything that a check's page shows.

    Attributes
    ----------
    result : CheckResult
        Its entry in the latest result, or that of an unmeasured check.
    length : AdjustedLengthResult or None
        Its entry among the adjusted lengths of the outline; None for other kinds.
    """

    check: Check
    label: str
    readings: tuple[CalculatedReading, ...]
    calculation: CheckCalculation
    result: CheckResult
    length: AdjustedLengthResult | None
    limits: tuple[LimitRow, ...]

    @property
    def expanded(self) -> float | None:
        """Expanded uncertainty (k = 2) of the observed value. [mm]"""
        sigma = self.result.get("uncertainty")
        return None if sigma is None else COVERAGE_FACTOR * sigma

    @property
    def conformance_text(self) -> str:
        """Probability of conformance; only a certain one is written as 0% or 100%."""
        probability = self.result.get("probability")
        if probability is None:
            return ""
        return format_probability(probability)

    @property
    def repeat_spread(self) -> tuple[float, float] | None:
        """Spread of repeated readings, and the spread the instrument explains. [mm]"""
        few = (
            len(self.calculation.readings) < 2 or self.check.kind is CheckKind.STRENGTH
        )
        return None if few else (self.calculation.spread, self.calculation.spread_limit)


def load_check_page(evaluated: EvaluatedPlan, key: str) -> CheckPage | None:
    """Trace the calculation of one check; None where the plan has no such check."""
    try:
        check = find_check(evaluated.plan, key)
    except UnknownCheckError:
        return None
    building = load_evaluation_input(evaluated.building).building
    calculation = trace_check(building, check.key)
    by_id = {each.reading.id: each for each in calculation.readings}
    rows = (
        Reading.objects.filter(building=evaluated.building, check_key=check.key)
        .select_related(
            "recorded_by",
            "instrument",
            "supersedes",
            "replaced_by",
            "withdrawal__withdrawn_by",
        )
        .order_by("pk")
    )
    result, square = evaluated.result, evaluated.results.squareness
    row = evaluated.results.checks.get(check.key, UNMEASURED_CHECK)
    aside = {each["reading"]: each["reason"] for each in row.get("set_aside", ())}
    lengths = square.get("lengths", ()) if square else ()
    return CheckPage(
        check=check,
        label=describe_check(check, with_mark=True),
        readings=tuple(
            CalculatedReading(
                history=each,
                calculation=by_id.get(each.reading.client_id),
                set_aside=aside.get(each.reading.client_id, ""),
            )
            for each in build_history_rows(rows)
        ),
        calculation=calculation,
        result=row,
        length=next((each for each in lengths if each["check"] == check.key), None),
        limits=tuple(
            list_kind_limits(check.kind, result["tolerances"]) if result else ()
        ),
    )
