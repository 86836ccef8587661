"""The difference of the diagonals: its limit, uncertainty and verdict."""

from dataclasses import dataclass

import numpy as np

from checks.engine import conformity
from checks.engine.arrays import FloatArray, IntArray
from checks.evaluation.check_table import CheckTable
from checks.evaluation.reduce_readings import Observations
from checks.tolerances.limits import ToleranceLimits
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.values import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class DiagonalDifference:
    """The difference of two diagonals' deviations; None where not known. [mm]

    Attributes
    ----------
    pair : rows of the two diagonals compared.
    uncertainty : standard uncertainty, in which what one tape and one day have in
        common cancels.
    probability : of conformance.
    guard : what guarded acceptance takes off the limit.
    """

    verdict: Verdict
    pair: tuple[int, int] | None = None
    difference: float | None = None
    limit: float | None = None
    uncertainty: float | None = None
    probability: float | None = None
    guard: float = 0.0


def compare_diagonals(
    plan: Plan, table: CheckTable, observations: Observations, limits: ToleranceLimits
) -> DiagonalDifference:
    """Compare the deviations of the diagonals with each other.

    For two diagonals that are alike on the plan this is the plain difference of their
    lengths. Of more than two, every pair is compared with the limit of its own mean
    nominal, and the pair furthest beyond it is returned; such a pair is outside
    whatever else is still to be measured. Guarded acceptance takes the expanded
    uncertainty of the difference off the limit. Repeats that contradict each other
    leave a diagonal without a length, and the difference without a verdict.
    """
    keys = [CheckKey.for_corners(CheckKind.DIAGONAL, ends) for ends in plan.diagonals]
    planned = np.array([table.index[key] for key in keys], dtype=int)
    doubtful = (observations.disagree | observations.impossible)[planned].any()
    rows = planned[~np.isnan(observations.value[planned])]
    nothing = Verdict.REMEASURE if doubtful else Verdict.UNMEASURED
    if rows.size < 2:
        return DiagonalDifference(verdict=nothing)
    first, second = np.triu_indices(rows.size, 1)
    pairs = np.stack([rows[first], rows[second]], axis=1)
    compared = _compare_pairs(pairs, table, observations, limits)
    # The worst pair decides, so one pair outside needs no further diagonals.
    beyond = compared.size - compared.limit + compared.guard
    worst = int(beyond.argmax())
    within = beyond[worst] <= conformity.SLACK_MM
    if rows.size < planned.size and within:
        return DiagonalDifference(verdict=nothing)
    decided = Verdict.WITHIN if within else Verdict.OUTSIDE
    return DiagonalDifference(
        verdict=Verdict.REMEASURE if doubtful else decided,
        pair=(int(pairs[worst, 0]), int(pairs[worst, 1])),
        difference=float(compared.size[worst]),
        limit=float(compared.limit[worst]),
        uncertainty=float(compared.uncertainty[worst]),
        probability=float(compared.probability[worst]),
        guard=float(compared.guard[worst]),
    )


@dataclass(frozen=True, slots=True)
class _ComparedPairs:
    """Pairs of diagonals, (k,) each. [mm]"""

    size: FloatArray
    limit: FloatArray
    guard: FloatArray
    uncertainty: FloatArray
    probability: FloatArray


def _compare_pairs(
    pairs: IntArray,
    table: CheckTable,
    observations: Observations,
    limits: ToleranceLimits,
) -> _ComparedPairs:
    """Compare pairs (k, 2) of diagonals.

    The standard uncertainty of a difference is that of g' S g with g = (1, -1): the
    common errors are subtracted before they are squared (JCGM 100:2008, 5.2.2).
    """
    deviation = observations.value - table.nominal
    difference = deviation[pairs[:, 0]] - deviation[pairs[:, 1]]
    common = observations.common[pairs[:, 0]] - observations.common[pairs[:, 1]]
    own = (observations.independent[pairs] ** 2).sum(axis=1)
    uncertainty = np.sqrt(own + (common**2).sum(axis=1))
    limit = limits.diagonal_difference(table.nominal[pairs])
    assessed = conformity.assess_conformity(difference, -limit, limit, uncertainty)
    guard = conformity.COVERAGE_FACTOR * uncertainty * limits.guarded
    return _ComparedPairs(
        np.abs(difference), limit, guard, uncertainty, assessed.probability
    )
