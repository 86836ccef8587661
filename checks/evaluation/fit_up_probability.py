"""The probability that a building goes together, and the conclusion.

It takes up to a few seconds and is not part of `evaluate`: a worker computes it
from the finished evaluation and stores it beside the result.
"""

from dataclasses import dataclass, replace

import numpy as np

from checks.engine.arrays import FloatArray, IntArray
from checks.engine.errors import EngineError
from checks.engine.fit_up.posterior import PlaceReadings
from checks.engine.fit_up.probability import (
    CUTS,
    bound_by_tangent,
    compute_misfit_distribution,
)
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.fit_up import MISFIT_SLACK_MM, FitUp
from checks.evaluation.fit_up_pairs import collect_pair_readings
from checks.evaluation.rod_positions import POSITION_KINDS
from core.vocabulary import FitUpConclusion
from jobs.anchor_plan.check_keys import CheckKind
from jobs.exchange.result.fit_up import FitUpProbabilityResult

SURE = 0.95
"""Probability from which a building that goes together as read is called so."""

MIN_LISTED_SHARE = 0.01
MAX_LISTED_POSITIONS = 8

MIN_SLOPE = 1e-6
"""Slope of the misfit below which it does not lean on a rod: the solver's tolerance."""

LEAST_UNCERTAINTY_MM = 0.05
"""No taped reading is better than this by itself. Project choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FitUpProbability:
    """The probability of a building, and what decides it.

    Attributes
    ----------
    probability : that all goes together.
    error : standard error of the probability, from its draws.
    bound : which it does not exceed.
    mean_misfit, sd : of the misfit, over what the rods may be. [mm]
    worst : marks with their share in the draws that fail, the largest first.
    direction : (n_checks,) change of the mean misfit by the true value of each check, 0
        for those that place no rod of it.
    """

    probability: float
    error: float
    bound: float
    conclusion: FitUpConclusion
    mean_misfit: float
    sd: float
    worst: tuple[tuple[str, float], ...]
    direction: FloatArray

    def as_result(self) -> FitUpProbabilityResult:
        """Return the members of `fit_up` that it settles."""
        return {
            "probability": self.probability,
            "probability_error": self.error,
            "probability_bound": self.bound,
            "conclusion": self.conclusion.value,
            "worst": [{"mark": mark, "share": share} for mark, share in self.worst],
        }


def conclude(misfit: float, probability: float, *, complete: bool) -> FitUpConclusion:
    """Conclude from the misfit as read [mm] and the probability: both must agree.

    Columns that nobody has measured may still not fit: without them (`complete` is
    False) nothing is said to go together.
    """
    if complete and misfit <= MISFIT_SLACK_MM and probability >= SURE:
        return FitUpConclusion.GOES_TOGETHER
    if misfit > MISFIT_SLACK_MM and probability <= 1.0 - SURE:
        return FitUpConclusion.DOES_NOT
    return FitUpConclusion.NOT_SETTLED


def compute_fit_up_probability(
    evaluation: BuildingEvaluation, seed: int, *, cuts: int = CUTS
) -> FitUpProbability | None:
    """Compute the probability that the building goes together.

    Parameters
    ----------
    evaluation : the finished evaluation.
    seed : from the digest of the record: the same record has the same probability.
    cuts : programmes to solve; fewer are faster and less sure.

    Returns
    -------
    FitUpProbability or None
        None where there is no fit-up, or the solver finds no answer.
    """
    fit_up = evaluation.fit_up
    if fit_up is None:
        return None
    readings, rows = collect_place_readings(evaluation, fit_up)
    pairs = collect_pair_readings(
        evaluation.plan,
        evaluation.table,
        evaluation.rods,
        evaluation.observations,
        fit_up.positions,
        fit_up.pair_rows,
    )
    try:
        found = compute_misfit_distribution(
            fit_up.problem, readings, seed, pairs=pairs, cuts=cuts
        )
    except EngineError:
        return None
    # A bound from as many cuts is noisy by a little; the probability never passes it.
    probability = min(found.probability, found.bound)
    order = np.argsort(-found.share, kind="stable")[:MAX_LISTED_POSITIONS]
    marks = [evaluation.plan.positions[i].mark for i in fit_up.positions]
    direction = np.zeros(len(evaluation.table))
    state = np.concatenate(
        (
            found.slope[..., 0].sum(axis=1, keepdims=True),
            found.slope.reshape(len(marks), -1),
        ),
        axis=1,
    )
    np.add.at(direction, rows, (readings.row * state[readings.position]).sum(axis=1))
    return FitUpProbability(
        probability=probability,
        error=found.error,
        bound=found.bound,
        conclusion=conclude(
            fit_up.best.misfit, probability, complete=fit_up.is_complete
        ),
        mean_misfit=found.mean,
        sd=found.sd,
        worst=tuple(
            (marks[i], float(found.share[i]))
            for i in order
            if found.share[i] >= MIN_LISTED_SHARE
        ),
        direction=direction,
    )


def bound_probability(evaluation: BuildingEvaluation, fit_up: FitUp) -> float | None:
    """Bound the probability by the misfit's tangent at the rods as read.

    It needs no further solution. Positions that the misfit does not lean on are left
    out, and what their readings say of the tape with them.

    Returns
    -------
    float or None
        None where bays or spans were read: their posterior is not normal in closed
        form.
    """
    if fit_up.pair_rows.size:
        return None
    best = fit_up.best
    leaning = np.flatnonzero((np.abs(best.slope) > MIN_SLOPE).any(axis=(1, 2)))
    part = replace(
        fit_up,
        positions=fit_up.positions[leaning],
        problem=fit_up.problem.select_positions(leaning),
        best=replace(best, slope=best.slope[leaning]),
    )
    readings, _ = collect_place_readings(evaluation, part)
    return bound_by_tangent(part.problem, readings, part.best)


def collect_place_readings(
    evaluation: BuildingEvaluation, fit_up: FitUp
) -> tuple[PlaceReadings, IntArray]:
    """Collect the readings that place the rods of a fit-up, and their checks' rows."""
    table, rods = evaluation.table, evaluation.rods
    observations = evaluation.observations
    place = np.full(len(rods.groups), -1)
    place[fit_up.positions] = np.arange(fit_up.positions.size)
    rows = table.rows(*POSITION_KINDS)
    rows = rows[place[table.position[rows]] >= 0]
    rows = rows[(observations.count[rows] > 0) & ~np.isnan(observations.value[rows])]
    rows = rows[~np.isin(rows, evaluation.as_built.contradicted)]
    position = place[table.position[rows]]
    kinds = np.array([table.checks[row].kind for row in rows])
    slots = np.maximum(table.rods[rows] - 1, 0)
    m = fit_up.problem.real.shape[1]
    row = np.zeros((rows.size, 1 + 2 * m))
    row[kinds == CheckKind.LINE, 0] = 1.0
    for axis, kind in enumerate((CheckKind.OFFSET, CheckKind.SETBACK)):
        of_kind = np.flatnonzero(kinds == kind)
        row[of_kind, 1 + 2 * slots[of_kind, 0] + axis] = 1.0
    gages = np.flatnonzero(kinds == CheckKind.GAGE)
    holes = fit_up.problem.holes[position[gages, None], slots[gages]]
    unit = holes[:, 1] - holes[:, 0]
    unit /= np.hypot(unit[:, 0], unit[:, 1])[:, None]
    for end, sign in enumerate((-1.0, 1.0)):
        for axis in range(2):
            row[gages, 1 + 2 * slots[gages, end] + axis] = sign * unit[:, axis]
    on_wall = [evaluation.plan.positions[i].wall is not None for i in fit_up.positions]
    independent = np.maximum(observations.independent[rows], LEAST_UNCERTAINTY_MM)
    return PlaceReadings(
        position=position,
        row=row,
        value=observations.value[rows] - table.nominal[rows],
        independent=independent,
        common=observations.common[rows],
        on_wall=np.array(on_wall, dtype=bool),
    ), rows
