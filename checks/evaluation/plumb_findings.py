"""Findings on columns out of plumb: along an axis, or by both axes together."""

from collections.abc import Iterator

import numpy as np

from checks.engine.arrays import IntArray
from checks.engine.plumb import assess_plumb
from checks.engine.remedies import other
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.computed_findings import ComputedFinding
from checks.evaluation.failing_checks import find_failing_checks
from checks.evaluation.finding_topics import FindingTopic
from checks.evaluation.remeasure_rules import advise_without_value, remeasure_reason
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind


def find_plumb_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    """Find the columns that lean beyond the limit, by an axis or by both together."""
    for row, check in find_failing_checks(evaluation, CheckKind.PLUMB):
        remeasure, cause = remeasure_reason(evaluation, [check.key])
        yield ComputedFinding(
            topic=FindingTopic.for_check(check.key),
            checks=(check.key,),
            cause=cause,
            advice=advise_without_value(evaluation, row, remeasure)
            or other.advise_plumb(
                float(evaluation.deviation[row]),
                float(evaluation.plumb_heights[row]),
                float(evaluation.bounds.upper[row]),
                check.axis or "",
                evaluation.style,
                remeasure,
            ),
        )
    yield from _find_resultant_leans(evaluation)


def _find_resultant_leans(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    """Find columns within along each axis, whose resultant lean is beyond the limit."""
    pairs = _pair_axes(evaluation)
    if not len(pairs):
        return
    lean = evaluation.deviation[pairs]
    height = evaluation.plumb_heights[pairs]
    ratio = evaluation.limits.plumb()
    assessed = assess_plumb(lean, height, ratio)
    for i in np.flatnonzero(~assessed.resultant_within).tolist():
        larger = int(np.abs(assessed.slope[i]).argmax())
        keys = [evaluation.table.checks[row].key for row in pairs[i].tolist()]
        remeasure, cause = remeasure_reason(evaluation, keys)
        yield ComputedFinding(
            # Of one axis, always the same: a later reading may make the other larger.
            topic=FindingTopic.for_check(keys[0]),
            checks=tuple(keys),
            cause=cause,
            advice=other.advise_resultant_plumb(
                other.ResultantLean(
                    out_of_plumb=float(lean[i, larger]),
                    axis=evaluation.table.checks[pairs[i, larger]].axis or "",
                    height=float(height[i, larger]),
                    slope=float(assessed.resultant_slope[i]),
                    ratio=ratio,
                ),
                evaluation.style,
                remeasure,
            ),
        )


def _pair_axes(evaluation: BuildingEvaluation) -> IntArray:
    """Return the rows of the two axes of each column within along both, (n, 2)."""
    by_mark: dict[str, list[int]] = {}
    for row in evaluation.table.rows(CheckKind.PLUMB).tolist():
        within = evaluation.verdicts[row] == Verdict.WITHIN
        if within and evaluation.plumb_heights[row] > 0.0:
            by_mark.setdefault(evaluation.table.checks[row].mark or "", []).append(row)
    pairs = [sorted(rows) for rows in by_mark.values() if len(rows) == 2]
    return np.array(pairs, dtype=np.intp).reshape(-1, 2)
