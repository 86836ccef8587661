"""How likely a finding is right: its worst check, and the reading that would tell."""

import math
from collections.abc import Sequence
from operator import itemgetter

from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.computed_findings import ComputedFinding
from jobs.exchange.result.findings import FindingResult
from jobs.exchange.result.next_readings import FindingSecondReadingResult


def build_finding_result(
    evaluation: BuildingEvaluation, finding: ComputedFinding
) -> FindingResult:
    """Build an entry of the result document's `findings`."""
    rows = [
        evaluation.table.index[key]
        for key in finding.checks
        if key in evaluation.table.index
    ]
    worst, probability = _find_worst(evaluation, rows)
    return {
        **finding.as_result(),
        "worst_check": worst,
        "probability": probability,
        "second_reading": _find_second_reading(evaluation, rows),
    }


def _find_worst(
    evaluation: BuildingEvaluation, rows: Sequence[int]
) -> tuple[str | None, float | None]:
    """Return the check that is least likely within its limit, and how likely it is."""
    chances = [(float(evaluation.probability[row]), row) for row in rows]
    known = [each for each in chances if not math.isnan(each[0])]
    if not known:
        return None, None
    chance, worst = min(known, key=itemgetter(0))
    return evaluation.table.checks[worst].key, chance


def _find_second_reading(
    evaluation: BuildingEvaluation, rows: Sequence[int]
) -> FindingSecondReadingResult | None:
    """Return the second reading of its checks that settles most, if any is needed."""
    needed = [row for row in rows if row in evaluation.second_readings]
    if not needed:
        return None
    row = max(needed, key=lambda row: evaluation.second_readings[row].gain)
    return {
        "check": evaluation.table.checks[row].key,
        **evaluation.second_readings[row].as_result(),
    }
