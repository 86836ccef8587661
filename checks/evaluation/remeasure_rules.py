"""The rules that ask to measure again before anything is changed, tried in order."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from checks.engine.conformity import COVERAGE_FACTOR, SLACK_MM
from checks.engine.remedies.remedy import Remedy, propose_remeasurement
from checks.evaluation import verdict_reasons
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.failing_checks import capitalize_first
from checks.evaluation.likely_cause import LikelyCause
from checks.evaluation.squareness import NO_OUTLINE_REASONS
from core.units import format_length
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind

MAX_LISTED_CHECKS = 4
"""Checks that a sentence lists by name; the rest is counted."""

Keys = Sequence[str]
RuleResult = tuple[Remedy, LikelyCause | None] | None


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


def _rule_no_outline(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    statement = NO_OUTLINE_REASONS.get(evaluation.squareness.adjustment.outcome)
    lengths = _measured_outline_keys(evaluation) if statement else []
    if not set(lengths).intersection(keys):
        return None
    return propose_remeasurement(
        f"{statement}. At least one of them is wrong.", lengths
    ), None


def _rule_suspect_lengths(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Doubt readings that the others contradict.

    The shape of the outline depends on all its lengths, so any suspect one counts.
    """
    lengths = evaluation.squareness.suspect_lengths
    size = {length.check: abs(length.w) for length in lengths}
    if _concerns_outline_shape(evaluation, keys):
        suspect = set(size)
    else:
        suspect = size.keys() & set(keys)
    if not suspect:
        return None
    index = evaluation.table.index
    ordered = sorted(suspect, key=lambda key: (-size[key], index[key]))
    listed = list_checks(evaluation, ordered)
    reason = f"The other lengths contradict {listed} (|w| > 3.29)."
    return propose_remeasurement(reason, ordered), None


def _rule_cannot_tell_which(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    if not evaluation.squareness.adjustment.cannot_tell:
        return None
    lengths = _measured_outline_keys(evaluation)
    if not set(lengths).intersection(keys):
        return None
    return propose_remeasurement(
        "Walls and diagonals contradict each other, and too few lengths were measured"
        " to tell which one is wrong.",
        lengths,
    ), None


def _rule_outline_implausible(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Doubt an outline so far from the plan that no concrete was built like it."""
    square = evaluation.squareness
    if square.moves or not square.adjustment.determined:
        return None
    if not _concerns_outline_shape(evaluation, keys):
        return None
    return propose_remeasurement(
        "A corner would have to move by more than a foot to square the outline. At"
        " least one of these lengths is wrong.",
        _measured_outline_keys(evaluation),
    ), None


def _rule_outline_doubtful(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Refuse corner moves computed from a length that must be read again itself."""
    if not _concerns_outline_shape(evaluation, keys):
        return None
    verdicts, index = evaluation.verdicts, evaluation.table.index
    doubtful = [
        key
        for key in _measured_outline_keys(evaluation)
        if verdicts[index[key]] == Verdict.REMEASURE
        or evaluation.likely_cause_of([key]) is not None
    ]
    if not doubtful:
        return None
    listed = list_checks(evaluation, doubtful)
    reason = f"The outline depends on {listed}, still to be measured again."
    return propose_remeasurement(reason, doubtful), None


def _rule_outline_unchecked(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Refuse corner moves that one wrong reading would spoil without a trace."""
    adjustment, table = evaluation.squareness.adjustment, evaluation.table
    if not (adjustment.determined and _concerns_outline_shape(evaluation, keys)):
        return None
    unread = [
        table.checks[row].key
        for row in table.rows(CheckKind.DIAGONAL, CheckKind.WALL)
        if not evaluation.observations.count[row]
    ]
    if adjustment.degrees_of_freedom > 0 or not unread:
        return None
    listed = list_checks(evaluation, unread)
    reason = f"Nothing checks the outline until {listed} is measured."
    return propose_remeasurement(reason, unread), None


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
    table, square = evaluation.table, evaluation.squareness
    outside = [
        row
        for row in (table.index[key] for key in keys)
        if evaluation.verdicts[row] == Verdict.OUTSIDE
    ]
    out_of_square = square.verdict == Verdict.OUTSIDE and _concerns_outline_shape(
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


def _concerns_outline_shape(evaluation: BuildingEvaluation, keys: Keys) -> bool:
    """Return True for a finding about the outline's shape, not one of its lengths."""
    table = evaluation.table
    return any(
        table.checks[table.index[key]].kind is CheckKind.DIAGONAL for key in keys
    )


def list_checks(evaluation: BuildingEvaluation, keys: Keys) -> str:
    """List some checks for a sentence; beyond `MAX_LISTED_CHECKS` count them."""
    table = evaluation.table
    names = [table.checks[table.index[key]].description for key in keys]
    if len(names) > MAX_LISTED_CHECKS + 1:
        names = [*names[:MAX_LISTED_CHECKS], f"{len(names) - MAX_LISTED_CHECKS} more"]
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _measured_outline_keys(evaluation: BuildingEvaluation) -> list[str]:
    """Return the keys of the walls and diagonals that were measured."""
    checks = evaluation.table.checks
    return [checks[row].key for row in evaluation.squareness.length_rows]


REMEASURE_RULES: tuple[Callable[[BuildingEvaluation, Keys], RuleResult], ...] = (
    _rule_likely_cause,
    _rule_impossible_data,
    _rule_repeats_disagree,
    _rule_pattern_contradicts,
    _rule_neighbours_contradict,
    _rule_no_outline,
    _rule_suspect_lengths,
    _rule_cannot_tell_which,
    _rule_outline_implausible,
    _rule_outline_doubtful,
    _rule_outline_unchecked,
    _rule_levels_open,
    _rule_guarded_acceptance,
)
