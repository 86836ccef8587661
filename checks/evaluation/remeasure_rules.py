"""The rules that ask to measure again before anything is changed, tried in order."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from checks.engine.conformity import COVERAGE_FACTOR, SLACK_MM
from checks.engine.remedies.remedy import Advice, Remedy, propose_remeasurement
from checks.evaluation import outline_rules, verdict_reasons
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.failing_checks import capitalize_first
from checks.evaluation.likely_cause import LikelyCause
from checks.evaluation.outline_rules import (
    Keys,
    RuleResult,
    concerns_outline_shape,
    list_checks,
)
from core.units import format_length
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind


def remeasure_reason(
    evaluation: BuildingEvaluation, checks: Iterable[str]
) -> tuple[Remedy | None, LikelyCause | None]:
    """Return the first reason to doubt the readings of these checks.

    Parameters
    ----------
    evaluation : the building.
    checks : keys of the checks of a finding.

    Returns
    -------
    The remedy to measure again and the likely cause it rests on; None for either.
    """
    keys = list(checks)
    for rule in REMEASURE_RULES:
        result = rule(evaluation, keys)
        if result is not None:
            return result
    return None, None


def _rule_likely_cause(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    cause = evaluation.likely_cause_of(keys)
    if cause is None:
        return None
    return propose_remeasurement(cause.explanation, cause.checks), cause


def _rule_impossible_data(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    impossible, index = evaluation.observations.impossible, evaluation.table.index
    wrong = [key for key in keys if impossible[index[key]]]
    if not wrong:
        return None
    reason = verdict_reasons.describe_impossible_data(list_checks(evaluation, wrong))
    return propose_remeasurement(reason, wrong), None


def _rule_repeats_disagree(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Doubt repeats that differ by more than the instrument explains."""
    observations, table = evaluation.observations, evaluation.table
    rows = [table.index[key] for key in keys]
    disagreeing = [row for row in rows if observations.disagree[row]]
    if not disagreeing:
        return None
    worst = max(disagreeing, key=lambda row: float(observations.spread[row]))
    reason = verdict_reasons.disagreement_reason(evaluation, worst)
    checks = [table.checks[row].key for row in disagreeing]
    return propose_remeasurement(reason, checks), None


def _rule_pattern_contradicts(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Doubt setbacks, offsets and gages of one pattern that cannot all be right."""
    table = evaluation.table
    contradicted = {table.checks[row].key for row in evaluation.as_built.contradicted}
    if not contradicted.intersection(keys):
        return None
    statement = "Setback, offset and gage readings contradict each other"
    if any(
        verdict_reasons.has_contradictory_gages(evaluation, table.index[key])
        for key in keys
    ):
        statement = verdict_reasons.CONTRADICTORY_GAGES
    return propose_remeasurement(
        f"{statement}: {list_checks(evaluation, keys)}.", keys
    ), None


def _rule_neighbours_contradict(
    evaluation: BuildingEvaluation, keys: Keys
) -> RuleResult:
    """Doubt lines that a bay read directly contradicts: one of the three is wrong."""
    lengths, table = evaluation.neighbour_lengths, evaluation.table
    lines = {
        table.index[key]
        for key in keys
        if table.checks[table.index[key]].kind is CheckKind.LINE
    }
    for i in np.flatnonzero(lengths.contradicts).tolist():
        sources = lengths.sources[i]
        check = table.checks[lengths.rows[i]]
        if check.kind is CheckKind.BAY and lines.intersection(sources):
            related = [*(table.checks[row].key for row in sources), check.key]
            return propose_remeasurement(
                f"{capitalize_first(list_checks(evaluation, related))} contradict each"
                " other: one of them is wrong.",
                related,
            ), None
    return None


def _rule_levels_open(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Refuse shims for pads whose set-ups misclose: their heights are not known."""
    table, pads = evaluation.table, evaluation.pads
    kinds = {table.checks[table.index[key]].kind for key in keys}
    if pads.levels_close or CheckKind.LEVEL not in kinds:
        return None
    misclosure = format_length(pads.misclosure, evaluation.style, 32)
    return propose_remeasurement(
        f"The set-ups do not close: the misclosure is {misclosure}. Level them again"
        " before you set any shims.",
        pads.tie_checks,
    ), None


def _rule_guarded_acceptance(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Ask for a better measurement where only the guard band puts a check outside.

    Heights are left out: a pad that is not proven level is shimmed.
    """
    if not evaluation.limits.guarded:
        return None
    table, square = evaluation.table, evaluation.squareness.diagonals
    outside = [
        row
        for row in (table.index[key] for key in keys)
        if evaluation.verdicts[row] == Verdict.OUTSIDE
    ]
    out_of_square = square.verdict == Verdict.OUTSIDE and concerns_outline_shape(
        evaluation, keys
    )
    if not (outside or out_of_square):
        return None
    beyond_limit = (
        out_of_square and (square.difference or 0.0) > (square.limit or 0.0) + SLACK_MM
    ) or any(verdict_reasons.is_beyond_limit(evaluation, row) for row in outside)
    if beyond_limit or any(
        table.checks[row].kind is CheckKind.LEVEL for row in outside
    ):
        return None
    named: list[str] = [table.checks[row].key for row in outside]
    named = named or list(keys)
    return propose_remeasurement(
        f"{capitalize_first(list_checks(evaluation, named))}: within the limit, but"
        " not by twice the uncertainty, as guarded acceptance requires"
        f"{_describe_guard_band(evaluation, outside)}. Note the tape's temperature,"
        " use a better tape, or take another reading.",
        named,
    ), None


def _describe_guard_band(evaluation: BuildingEvaluation, rows: Sequence[int]) -> str:
    """Describe the guard band of the worst check, as an addition to a sentence."""
    if not rows:
        return ""
    guard = COVERAGE_FACTOR * evaluation.sigma[rows]
    limit = evaluation.bounds.size[rows]
    worst = int(np.argmax(guard - limit))
    guard_text, limit_text = (
        format_length(float(mm[worst]), evaluation.style, 32) for mm in (guard, limit)
    )
    return f": it takes {guard_text} off the limit of {limit_text}"


REMEASURE_RULES: tuple[Callable[[BuildingEvaluation, Keys], RuleResult], ...] = (
    _rule_likely_cause,
    _rule_impossible_data,
    _rule_repeats_disagree,
    _rule_pattern_contradicts,
    _rule_neighbours_contradict,
    outline_rules.apply_no_outline,
    outline_rules.apply_suspect_lengths,
    outline_rules.apply_tapes_differ,
    outline_rules.apply_cannot_tell_which,
    outline_rules.apply_outline_implausible,
    outline_rules.apply_outline_doubtful,
    outline_rules.apply_single_reading,
    outline_rules.apply_outline_unchecked,
    _rule_levels_open,
    _rule_guarded_acceptance,
)


def advise_without_value(
    evaluation: BuildingEvaluation, row: int, remeasure: Remedy | None
) -> Advice | None:
    """Ask only to measure again where contradicting repeats leave no value.

    None for a check that has one.
    """
    if not evaluation.observations.contradicted[row] or remeasure is None:
        return None
    return Advice(remedies=(remeasure,))
