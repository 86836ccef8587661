"""The findings that explain a misfit of the fit-up: one cause, one finding.

A misfit that vanishes when the positions of another finding stand as planned is that
finding's consequence: it is listed there, and opens no finding of its own. Where it
needs several of them it is listed with each; where all of them together leave a
misfit, it stays a finding.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from checks.engine.arrays import FloatArray, IntArray
from checks.engine.errors import EngineError
from checks.engine.fit_up.cone_program import solve_fit_up
from checks.engine.fit_up.problem import FitUpProblem
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.computed_findings import ComputedFinding
from checks.evaluation.finding_topics import FindingTopic, TopicKind
from checks.evaluation.fit_up import MISFIT_SLACK_MM, SET_ASIDE_CLEARANCE_MM, FitUp
from core.vocabulary import RemedyKind

PAIR_TOPICS = frozenset({TopicKind.BAY, TopicKind.SPAN})


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A finding that may explain the misfit, and its places in the fit-up.

    `places` is one position, or the two of a bay or span in the order of its pair.
    """

    finding: int
    places: IntArray
    pair: int | None = None


def attribute_misfit(
    evaluation: BuildingEvaluation, findings: Sequence[ComputedFinding]
) -> list[ComputedFinding]:
    """List the misfit with the findings that explain it, where they do.

    Parameters
    ----------
    evaluation : the building.
    findings : all of them, the one on the fit-up among them where there is one.
    """
    topic = FindingTopic.for_building(TopicKind.FIT_UP)
    fit_up = evaluation.fit_up
    if fit_up is None or topic not in [each.topic for each in findings]:
        return list(findings)
    candidates = _list_candidates(evaluation, fit_up, findings)
    explained_by = {each.finding for each in _choose_causes(fit_up, candidates)}
    if not explained_by:
        return list(findings)
    return [
        replace(each, consequences=(*each.consequences, topic))
        if i in explained_by
        else each
        for i, each in enumerate(findings)
        if each.topic != topic
    ]


def _list_candidates(
    evaluation: BuildingEvaluation,
    fit_up: FitUp,
    findings: Sequence[ComputedFinding],
) -> list[_Candidate]:
    """List the findings on places of the fit-up, the most likely cause first."""
    place = {
        evaluation.plan.positions[i].mark: p for p, i in enumerate(fit_up.positions)
    }
    candidates = []
    for i, finding in enumerate(findings):
        topic = finding.topic
        if topic.kind is TopicKind.POSITION and topic.mark in place:
            p = place[topic.mark]
            # What a plate lacks that is set aside is in no misfit of the others.
            if fit_up.own_misfit[p] == 0.0 and not _leaves_misfit(finding):
                candidates.append(_Candidate(i, np.array([p])))
        elif topic.kind in PAIR_TOPICS:
            marks = evaluation.table.checks[evaluation.table.index[topic]].marks
            if all(mark in place for mark in marks):
                ends = sorted(place[mark] for mark in marks)
                pairs = np.sort(fit_up.problem.pairs, axis=1)
                found = np.flatnonzero((pairs == ends).all(axis=1))
                candidates += [
                    _Candidate(i, fit_up.problem.pairs[k], int(k)) for k in found
                ]
    share = fit_up.best.share
    return sorted(candidates, key=lambda each: -float(share[each.places].sum()))


def _leaves_misfit(finding: ComputedFinding) -> bool:
    """Return whether what is proposed leaves the rods and the holes as they are.

    A column shifted within its line's tolerance is one that the fit-up shifts too.
    """
    cures = [
        remedy.kind
        for remedy in finding.advice.remedies
        if remedy.kind is not RemedyKind.REMEASURE
    ]
    return bool(cures) and cures[0] is RemedyKind.SHIFT


def _choose_causes(fit_up: FitUp, candidates: Sequence[_Candidate]) -> list[_Candidate]:
    """Choose few candidates without which there is no misfit; none if there is one."""
    own = fit_up.own_misfit
    room = np.where(own > 0.0, own + SET_ASIDE_CLEARANCE_MM, 0.0)
    problem = fit_up.problem.with_clearance(fit_up.problem.clearance + room[:, None])
    chosen = list(candidates)
    if not _goes_together(problem, chosen):
        return []
    for candidate in candidates:
        if _goes_together(problem, [candidate]):
            return [candidate]
    for candidate in reversed(candidates):
        rest = [each for each in chosen if each is not candidate]
        if _goes_together(problem, rest):
            chosen = rest
    return chosen


def _goes_together(problem: FitUpProblem, causes: Sequence[_Candidate]) -> bool:
    """Return whether all goes together with the causes set right."""
    if not causes:
        return False
    rods = problem.rods
    for cause in causes:
        rods = _set_right(problem, rods, cause)
    try:
        solution = solve_fit_up(problem.with_rods(rods))
    except EngineError:
        return False
    return solution.misfit <= MISFIT_SLACK_MM


def _set_right(
    problem: FitUpProblem, rods: FloatArray, cause: _Candidate
) -> FloatArray:
    """Return rods with one cause set right: a position, or the length of a pair.

    A length is set right by moving both its ends by half of its deviation.
    """
    rods = rods.copy()
    if cause.pair is None:
        rods[cause.places] = 0.0
        return rods
    real = problem.real[cause.places]
    direction = problem.direction[cause.pair]
    along = problem.axes[cause.places] @ direction  # (2, 2), in each one's own axes
    centre = (rods[cause.places] * real[..., None]).sum(axis=1)
    centre /= real.sum(axis=1)[:, None]
    first, second = (centre * along).sum(axis=1)
    moves = np.array([0.5, -0.5]) * (second - first)
    moved = rods[cause.places] + (moves[:, None] * along)[:, None]
    rods[cause.places] = np.where(real[..., None], moved, 0.0)
    return rods
