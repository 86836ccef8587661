"""Nothing irreversible on one reading: remedies that wait for an independent repeat.

Opening a hole, cutting a rod, lowering a pad or making a plate anew cannot be undone,
and one person's reading may be wrong in a way that nothing else shows. Such a remedy
waits until the readings it rests on were repeated by another person, on another day or
with another instrument, and agree. Project choice.

An extension of a rod cuts nothing and is not among them.
"""

from collections.abc import Sequence
from dataclasses import replace

from checks.engine.remedies.remedy import (
    Advice,
    Remedy,
    propose_remeasurement,
    rank_remedies,
)
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.computed_findings import ComputedFinding
from checks.evaluation.outline_rules import list_checks
from core.vocabulary import RemedyKind
from jobs.anchor_plan.check_keys import CheckKey, CheckKind

IRREVERSIBLE_REMEDIES = frozenset(
    {
        RemedyKind.REAM,
        RemedyKind.SLOT,
        RemedyKind.NEW_PLATE,
        RemedyKind.RE_ANCHOR,
        RemedyKind.LOWER_PAD,
    }
)
"""Remedies that cut steel or concrete."""

MEASURED_KINDS = frozenset(
    {
        CheckKind.LINE,
        CheckKind.SETBACK,
        CheckKind.OFFSET,
        CheckKind.GAGE,
        CheckKind.LEVEL,
    }
)
"""Kinds of checks whose readings an irreversible remedy rests on."""

HOW_TO_REPEAT = "by another person, on another day or with another instrument"


def require_confirmation(
    evaluation: BuildingEvaluation, finding: ComputedFinding
) -> ComputedFinding:
    """Return a finding whose irreversible remedies wait for an independent repeat.

    Where one of them is the proposal, measuring again comes first and names it in its
    quantities (`follows`). Each that waits carries its checks (`unconfirmed`).

    Parameters
    ----------
    evaluation : the building.
    finding : with the advice of the rules for its kind.
    """
    remedies = finding.advice.remedies
    waiting = [_list_unconfirmed(evaluation, finding, remedy) for remedy in remedies]
    if not any(waiting):
        return finding
    marked = [
        _mark_waiting(evaluation, remedy, keys) if keys else remedy
        for remedy, keys in zip(remedies, waiting, strict=True)
    ]
    if waiting[0]:
        marked.insert(0, _propose_repeat(evaluation, remedies[0], waiting[0]))
    advice = Advice(remedies=rank_remedies(marked), ruled_out=finding.advice.ruled_out)
    return replace(finding, advice=advice)


def _list_unconfirmed(
    evaluation: BuildingEvaluation, finding: ComputedFinding, remedy: Remedy
) -> tuple[str, ...]:
    """Return the checks a remedy rests on that nobody repeated independently.

    Of a position these are the readings of the rods that are out, and its line where
    the line is out; of a pad to lower its own level.
    """
    if remedy.kind not in IRREVERSIBLE_REMEDIES:
        return ()
    keys: Sequence[str] = finding.checks
    if remedy.kind is RemedyKind.LOWER_PAD:
        keys = (CheckKey.for_position(CheckKind.LEVEL, str(remedy.quantities["mark"])),)
    observations, table = evaluation.observations, evaluation.table
    rows = [table.index[key] for key in keys]
    return tuple(
        table.checks[row].key
        for row in rows
        if table.checks[row].kind in MEASURED_KINDS
        and not observations.repeated_independently[row]
    )


def _mark_waiting(
    evaluation: BuildingEvaluation, remedy: Remedy, keys: Sequence[str]
) -> Remedy:
    listed = list_checks(evaluation, keys)
    return replace(
        remedy,
        quantities={**remedy.quantities, "unconfirmed": list(keys)},
        why_second=f"It waits for an independent repeat of {listed}.",
    )


def _propose_repeat(
    evaluation: BuildingEvaluation, follower: Remedy, keys: Sequence[str]
) -> Remedy:
    """Propose the repeat, with the remedy that follows if it confirms the readings."""
    listed = list_checks(evaluation, keys)
    repeat = propose_remeasurement(
        f"Nothing is cut on one person's reading of one day. Measure {listed} again"
        f" {HOW_TO_REPEAT}, as a repeat beside the first reading. If it agrees, this"
        f" follows: {follower.kind.label}. {follower.reason}",
        keys,
    )
    quantities = {**repeat.quantities, "follows": follower.kind.value}
    return replace(repeat, quantities=quantities)
