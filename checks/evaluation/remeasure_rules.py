"""Whether to measure again before anything is changed: the reasons, tried in order."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from checks.engine.conformity import COVERAGE_FACTOR, SLACK_MM
from checks.engine.remedies.remedy import Remedy, propose_remeasurement
from checks.evaluation import verdict_reasons
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.failing_checks import LikelyCause, capitalize_first
from checks.evaluation.squareness import NO_OUTLINE_REASONS
from core.units import format_length
from jobs.anchor_plan.check_keys import CheckKind

MAX_LISTED_CHECKS = 4  # checks a sentence lists; the rest is counted
RuleResult = tuple[Remedy, LikelyCause | None] | None


def remeasure_reason(
    judged: BuildingEvaluation, checks: Iterable[str]
) -> tuple[Remedy | None, LikelyCause | None]:
    """The first reason to doubt these checks' readings, if there is one.

    Parameters
    ----------
    judged : the building.
    checks : keys of the checks a finding is about.

    Returns
    -------
    The remedy to measure again, and the likely cause it rests on; None for either.
    """
    keys = list(checks)
    for reason in REMEASURE_RULES:
        found = reason(judged, keys)
        if found is not None:
            return found
    return None, None


def _rule_likely_cause(judged: BuildingEvaluation, keys: Sequence[str]) -> RuleResult:
    cause = judged.likely_cause_of(keys)
    if cause is None:
        return None
    return propose_remeasurement(cause.explanation, cause.checks), cause


def _rule_impossible_data(
    judged: BuildingEvaluation, keys: Sequence[str]
) -> RuleResult:
    wrong = [
        key for key in keys if judged.observations.impossible[judged.table.index[key]]
    ]
    if not wrong:
        return None
    reason = (
        f"Rise, tension or tape data of {_list_checks(judged, wrong)} cannot be right."
    )
    return propose_remeasurement(reason, wrong), None


def _rule_repeats_disagree(
    judged: BuildingEvaluation, keys: Sequence[str]
) -> RuleResult:
    """Repeats that differ by more than the instrument explains."""
    observed = judged.observations
    rows = [judged.table.index[key] for key in keys]
    apart = [row for row in rows if observed.disagree[row]]
    if not apart:
        return None
    worst = max(apart, key=lambda row: float(observed.spread[row]))
    keys = [judged.table.checks[row].key for row in apart]
    return propose_remeasurement(
        verdict_reasons.disagreement_reason(judged, worst), keys
    ), None


def _rule_pattern_contradicts(
    judged: BuildingEvaluation, keys: Sequence[str]
) -> RuleResult:
    """Setbacks, offsets and gages of one pattern that cannot all be right."""
    bad = {judged.table.checks[row].key for row in judged.as_built.contradicted}
    if not bad.intersection(keys):
        return None
    said = "Setback, offset and gage contradict each other"
    if any(
        verdict_reasons.has_contradictory_gages(judged, judged.table.index[key])
        for key in keys
    ):
        said = verdict_reasons.CONTRADICTORY_GAGES
    return propose_remeasurement(f"{said}: {_list_checks(judged, keys)}.", keys), None


def _rule_no_outline(judged: BuildingEvaluation, keys: Sequence[str]) -> RuleResult:
    said = NO_OUTLINE_REASONS.get(judged.squareness.adjustment.outcome)
    lengths = _measured_outline_keys(judged) if said else []
    if not set(lengths).intersection(keys):
        return None
    return propose_remeasurement(
        f"{said}: at least one of them is wrong.", lengths
    ), None


def _rule_suspect_lengths(
    judged: BuildingEvaluation, keys: Sequence[str]
) -> RuleResult:
    """Readings the others contradict; out of square hangs on all of the outline's."""
    size = {s["check"]: abs(s["w"]) for s in judged.squareness.suspect_readings}
    asked = size if _concerns_outline_shape(judged, keys) else size.keys() & set(keys)
    if not asked:
        return None
    found = sorted(asked, key=lambda key: (-size[key], judged.table.index[key]))
    reason = f"The other lengths contradict {_list_checks(judged, found)} (|w| > 3.29)."
    return propose_remeasurement(reason, found), None


def _rule_cannot_tell_which(
    judged: BuildingEvaluation, keys: Sequence[str]
) -> RuleResult:
    lengths = (
        _measured_outline_keys(judged)
        if judged.squareness.adjustment.cannot_tell
        else []
    )
    if not set(lengths).intersection(keys):
        return None
    return propose_remeasurement(
        "Walls and diagonals contradict each other, and with no more lengths than"
        " these it cannot be told which of them is wrong.",
        lengths,
    ), None


def _rule_outline_doubtful(
    judged: BuildingEvaluation, keys: Sequence[str]
) -> RuleResult:
    """Moves that would be taken from a length that has to be read again itself."""
    if not _concerns_outline_shape(judged, keys):
        return None
    words, index = judged.verdicts, judged.table.index
    doubtful = [
        key
        for key in _measured_outline_keys(judged)
        if words[index[key]] == "remeasure" or judged.likely_cause_of([key]) is not None
    ]
    if not doubtful:
        return None
    reason = (
        f"The outline hangs on {_list_checks(judged, doubtful)}, to be measured again."
    )
    return propose_remeasurement(reason, doubtful), None


def _rule_outline_unchecked(
    judged: BuildingEvaluation, keys: Sequence[str]
) -> RuleResult:
    """Moves that one wrong reading would spoil unseen, while others are still to do."""
    square, observed = judged.squareness, judged.observations
    found = square.adjustment
    if not (found.determined and _concerns_outline_shape(judged, keys)):
        return None
    unread = [
        judged.table.checks[row].key
        for row in judged.table.rows(CheckKind.DIAGONAL, CheckKind.WALL)
        if not observed.count[row]
    ]
    if found.degrees_of_freedom > 0 or not unread:
        return None
    reason = (
        f"Nothing checks the outline until {_list_checks(judged, unread)} is measured."
    )
    return propose_remeasurement(reason, unread), None


def _rule_guarded_acceptance(
    judged: BuildingEvaluation, keys: Sequence[str]
) -> RuleResult:
    """Within the limits, and outside only by what guarded acceptance takes off them.

    Heights are left out: a pad that is not shown to be level is shimmed.
    """
    if not judged.limits.guarded:
        return None
    checks, square = judged.table.checks, judged.squareness
    index = [judged.table.index[key] for key in keys]
    rows = [row for row in index if judged.verdicts[row] == "outside"]
    shape = square.verdict == "outside" and _concerns_outline_shape(judged, keys)
    if shape and (square.difference or 0.0) > (square.limit or 0.0) + SLACK_MM:
        return None
    beyond = any(verdict_reasons.is_beyond_limit(judged, row) for row in rows)
    if (
        beyond
        or not (rows or shape)
        or any(checks[r].kind is CheckKind.LEVEL for r in rows)
    ):
        return None
    named = [checks[row].key for row in rows] or keys
    return propose_remeasurement(
        f"{capitalize_first(_list_checks(judged, named))}: within the limit, but not by twice the"
        f" uncertainty, which guarded acceptance asks{_describe_guard_band(judged, rows)}. Note the"
        " tape's temperature, take a better tape, or read it again.",
        named,
    ), None


def _describe_guard_band(judged: BuildingEvaluation, rows: Sequence[int]) -> str:
    """What is taken off the limit of the check it takes most of, for a sentence."""
    if not rows:
        return ""
    guard, limit = COVERAGE_FACTOR * judged.sigma[rows], judged.bounds.size[rows]
    worst = int(np.argmax(guard - limit))
    off, of = (
        format_length(float(mm[worst]), judged.style, 32) for mm in (guard, limit)
    )
    return f", {off} off {of}"


def _concerns_outline_shape(judged: BuildingEvaluation, keys: Sequence[str]) -> bool:
    """Whether a finding is about the outline's shape, not one length of it."""
    table = judged.table
    return any(
        table.checks[table.index[key]].kind is CheckKind.DIAGONAL for key in keys
    )


def _rule_outline_implausible(
    judged: BuildingEvaluation, keys: Sequence[str]
) -> RuleResult:
    """A figure so far from the plan that no concrete was built like that."""
    square = judged.squareness
    if square.moves or not square.adjustment.determined:
        return None
    if not _concerns_outline_shape(judged, keys):
        return None
    return propose_remeasurement(
        "To come square a corner would have to move by more than a foot: at least one"
        " of these lengths is wrong.",
        _measured_outline_keys(judged),
    ), None


def _rule_levels_open(judged: BuildingEvaluation, keys: Sequence[str]) -> RuleResult:
    """Pads of set-ups that do not close: shims would be cut to a height nobody has."""
    table, pads = judged.table, judged.pads
    kinds = {table.checks[table.index[key]].kind for key in keys}
    if pads.levels_close or CheckKind.LEVEL not in kinds:
        return None
    off = format_length(pads.misclosure, judged.style, 32)
    return propose_remeasurement(
        f"The set-ups do not close, by {off}: level them again before anything is"
        " shimmed.",
        pads.tie_checks,
    ), None


def _list_checks(judged: BuildingEvaluation, keys: Sequence[str]) -> str:
    """Some checks as a sentence lists them; many are counted."""
    table = judged.table
    said = [table.checks[table.index[key]].description for key in keys]
    if len(said) > MAX_LISTED_CHECKS + 1:
        said = [*said[:MAX_LISTED_CHECKS], f"{len(said) - MAX_LISTED_CHECKS} more"]
    return " and ".join([", ".join(said[:-1]), said[-1]] if said[1:] else said)


def _measured_outline_keys(judged: BuildingEvaluation) -> list[str]:
    """The walls and diagonals that were measured."""
    return [judged.table.checks[row].key for row in judged.squareness.length_rows]


REMEASURE_RULES: tuple[
    Callable[[BuildingEvaluation, Sequence[str]], RuleResult], ...
] = (
    _rule_likely_cause,
    _rule_impossible_data,
    _rule_repeats_disagree,
    _rule_pattern_contradicts,
    _rule_no_outline,
    _rule_suspect_lengths,
    _rule_cannot_tell_which,
    _rule_outline_implausible,
    _rule_outline_doubtful,
    _rule_outline_unchecked,
    _rule_levels_open,
    _rule_guarded_acceptance,
)
