"""The probability that a building goes together, from few solutions.

The misfit t is a convex function of the rods, so that each solution (t_j, slopes l_j,
rods r_j) is a lower bound everywhere: t(r) >= t_j + l_j . (r - r_j), a *cut*. `CUTS`
rods are drawn from as many posteriors, solved, and the cuts kept. The largest cut falls
short of t by about ::

    rest = mean over j of t_j - max over i != j of cut_i(r_j)

which is added; the share of further draws of the rods with max cut + rest <= 0 is the
probability. A cut holds whatever the spreads are, so that the further draws come from
many more posteriors than were solved: most of the noise of the probability is that of
the spreads. Its standard error is ::

    e^2 = v / n_posteriors + v / n_effective + (dP/drest sd(rest_j))^2 / CUTS

v being the variance of the share from one posterior to another, and n_effective what
the weighted draws of the spreads are worth.

One cut alone gives a proven upper bound, and so does the least of the cuts that are
the largest most often in each posterior::

    P <= mean over posteriors of min over i of Phi(-mean(cut_i) / sd(cut_i))

The solution at the rods as read is such a cut, at hand without drawing any: with the
prior's median spreads it bounds P at once (`bound_by_tangent`).
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import FloatArray, IntArray
from checks.engine.errors import EngineError
from checks.engine.fit_up.cone_program import FitUpSolution, solve_fit_up
from checks.engine.fit_up.posterior import (
    ConditionedRods,
    PairReadings,
    PlaceReadings,
    RodPosterior,
    rods_of_states,
)
from checks.engine.fit_up.problem import FitUpProblem
from checks.engine.fit_up.spread_prior import build_median_spreads, draw_spreads

CUTS = 128
POSTERIORS_PER_CUT = 8
DRAWS_PER_POSTERIOR = 8
BLOCK = 64
"""Posteriors in memory at once."""

BOUND_CUTS = 16
"""Cuts that the bound takes the least of: more hardly lower it."""

MOST_UNSOLVED = 0.1
"""Share of draws that the solver may leave unsolved."""

FEW_FAILING = 6
"""With fewer failing draws than this, the worst of all draws say what decides."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MisfitDistribution:
    """The distribution of the misfit over what the rods may be.

    Attributes
    ----------
    probability : that it is not above zero.
    error : standard error of the probability, from the draws.
    bound : which the probability does not exceed, but for the noise of the draws.
    mean, sd : of the misfit. [mm]
    share : (n,) each position's share in the draws that fail, its sum 1.
    slope : (n, m, 2) mean change of the misfit by each rod's deviation.
    """

    probability: float
    error: float
    bound: float
    mean: float
    sd: float
    share: FloatArray
    slope: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cuts:
    """Solutions at k draws of the rods, and the lower bounds they give.

    Attributes
    ----------
    misfit, share, slope : (k,), (k, n), (k, n, m, 2) of the solutions.
    by_state, start : (k, n w), (k,) a cut is by_state . state + start. [mm]
    rest : (k,) what the largest other cut falls short of each misfit by. [mm]
    busiest : cuts that are the largest most often at the other draws.
    """

    misfit: FloatArray
    share: FloatArray
    slope: FloatArray
    by_state: FloatArray
    start: FloatArray
    rest: FloatArray
    busiest: IntArray


def compute_misfit_distribution(
    problem: FitUpProblem,
    readings: PlaceReadings,
    seed: int,
    *,
    pairs: PairReadings | None = None,
    cuts: int = CUTS,
) -> MisfitDistribution:
    """Compute how likely all goes together, given the readings.

    Parameters
    ----------
    problem : FitUpProblem
        Its rods are not used.
    readings : PlaceReadings
    pairs : PairReadings, optional
        Direct lengths of bays and spans.
    seed : int
        The same seed gives the same result.
    cuts : int
        Solutions to compute. [1]

    Raises
    ------
    EngineError
        If the solver leaves too many draws unsolved.
    """
    rng = np.random.default_rng(seed)
    posterior = RodPosterior(problem, readings)
    number = cuts * POSTERIORS_PER_CUT
    draws = draw_spreads(posterior.list_items(), number, rng)
    # Resampled in order, every eighth stands for its neighbours.
    solved = np.arange(0, number, POSTERIORS_PER_CUT)
    return evaluate_posteriors(
        problem,
        posterior.condition(draws.select(solved), pairs),
        (
            posterior.condition(
                draws.select(np.arange(i, min(i + BLOCK, number))), pairs
            )
            for i in range(0, number, BLOCK)
        ),
        rng,
        draws.effective,
    )


def bound_by_tangent(
    problem: FitUpProblem, readings: PlaceReadings, solution: FitUpSolution
) -> float:
    """Bound the probability that all goes together by the cut of one solution.

    Proven for the prior's median spreads without outliers. Wider spreads and outliers
    believe readings more, which lowers the probability of what fails as read. With a
    crew far more careful than the median it may pass the bound: in none of 120
    simulated jobs (`python -m tests.bench.fit_up`).

    Parameters
    ----------
    problem : FitUpProblem
        With the rods that were solved for.
    readings : PlaceReadings
        Of the same positions; no direct lengths of bays or spans.
    solution : FitUpSolution
        Of the problem.

    Returns
    -------
    float
        Phi(-mean / sd) of the cut. [1]
    """
    from scipy.special import ndtr

    posterior = RodPosterior(problem, readings)
    rods = posterior.condition(build_median_spreads(posterior.item_kinds))
    start = solution.misfit - float((solution.slope * problem.rods).sum())
    mean, variance = _compute_cut_moments(rods, _slope_by_state(solution.slope[None]))
    sd = np.sqrt(max(float(variance[0, 0]), 1e-12))
    return float(ndtr(-(float(mean[0, 0]) + start) / sd))


def evaluate_posteriors(
    problem: FitUpProblem,
    solved: ConditionedRods,
    blocks: Iterable[ConditionedRods],
    rng: np.random.Generator,
    effective_spreads: float = np.inf,
) -> MisfitDistribution:
    """Compute the distribution of the misfit over normal posteriors, equally weighted.

    Parameters
    ----------
    problem : FitUpProblem
        Its rods are not used.
    solved : ConditionedRods
        The posteriors to solve one draw of, each for one cut.
    blocks : iterable of ConditionedRods
        All posteriors, some at a time.
    rng : Generator
    effective_spreads : float, optional
        How many independent spreads the posteriors stand for, besides. [1]

    Raises
    ------
    EngineError
        If the solver leaves too many draws unsolved.
    """
    cuts = _solve_draws(problem, solved.sample(1, rng)[:, 0])
    values, active, chances = [], np.zeros(cuts.misfit.size), []
    for rods in blocks:
        states = rods.sample(DRAWS_PER_POSTERIOR, rng)
        of_cuts = _evaluate_cuts(cuts, states)
        values.append(of_cuts.max(axis=2))
        active += np.bincount(of_cuts.argmax(axis=2).ravel(), minlength=active.size)
        chances.append(_find_chances(rods, of_cuts, cuts))
    largest = np.concatenate(values) + cuts.rest.mean()
    chance = np.concatenate(chances)
    # The least of a few noisy shares is too low: of shares take that of all draws.
    bound = chance.mean(axis=0).min() if _has_pairs(solved) else chance.min(axis=1)
    failing = np.flatnonzero(cuts.misfit > 0.0)
    if failing.size < FEW_FAILING:
        failing = np.argsort(-cuts.misfit)[:FEW_FAILING]
    return MisfitDistribution(
        probability=float((largest <= 0.0).mean()),
        error=_estimate_error(largest, cuts.rest, effective_spreads),
        bound=float(bound.mean()),
        mean=float(largest.mean()),
        sd=float(largest.std()),
        share=cuts.share[failing].mean(axis=0),
        slope=np.einsum("k,knmi->nmi", active / active.sum(), cuts.slope),
    )


def _solve_draws(problem: FitUpProblem, states: FloatArray) -> _Cuts:
    """Solve the building at draws of its states, (k, n, w), and keep the cuts."""
    solutions: list[FitUpSolution] = []
    kept: list[int] = []
    for i, rods in enumerate(rods_of_states(states)):
        try:
            solutions.append(solve_fit_up(problem.with_rods(rods)))
        except EngineError:
            if i + 1 - len(kept) > max(1.0, MOST_UNSOLVED * len(states)):
                raise
        else:
            kept.append(i)
    k = len(kept)
    misfit = np.array([each.misfit for each in solutions])
    slope = np.array([each.slope for each in solutions])
    by_state = _slope_by_state(slope).reshape(k, -1)
    flat = states[kept].reshape(k, -1)
    start = misfit - (by_state * flat).sum(axis=1)
    at_cuts = flat @ by_state.T + start  # (draw, cut)
    np.fill_diagonal(at_cuts, -np.inf)
    count = np.bincount(at_cuts.argmax(axis=1), minlength=k)
    return _Cuts(
        misfit=misfit,
        share=np.array([each.share for each in solutions]),
        slope=slope,
        by_state=by_state,
        start=start,
        rest=misfit - at_cuts.max(axis=1),
        busiest=np.argsort(-count, kind="stable")[:BOUND_CUTS],
    )


def _evaluate_cuts(cuts: _Cuts, states: FloatArray) -> FloatArray:
    """Evaluate all cuts (p, s, k) at s draws of the states from p posteriors."""
    flat = states.reshape(*states.shape[:2], -1)
    return np.asarray(flat @ cuts.by_state.T + cuts.start)


def _estimate_error(
    largest: FloatArray, rest: FloatArray, effective_spreads: float
) -> float:
    """Estimate the standard error of the probability from draws (posteriors, s)."""
    share = (largest <= 0.0).mean(axis=1)
    by_draws = share.var() * (1.0 / share.size + 1.0 / effective_spreads)
    step = float(rest.std()) / np.sqrt(rest.size)
    by_rest = ((largest <= step).mean() - (largest <= -step).mean()) / 2.0
    return float(np.sqrt(by_draws + by_rest**2))


def _slope_by_state(slope: FloatArray) -> FloatArray:
    """Return slopes by the states (k, n, 1 + 2 m) from those by rods (k, n, m, 2)."""
    k, n, m, _ = slope.shape
    by_line = slope[..., 0].sum(axis=2, keepdims=True)
    return np.concatenate((by_line, slope.reshape(k, n, 2 * m)), axis=2)


def _has_pairs(rods: ConditionedRods) -> bool:
    return rods.pairs is not None and bool(rods.pairs.value.size)


def _find_chances(rods: ConditionedRods, values: FloatArray, cuts: _Cuts) -> FloatArray:
    """Find the chance (p, c) of each of the busiest cuts to be at most 0.

    Cuts are normal in each posterior, but where bays or spans were read: there it is
    the share of their values at the draws, (p, s, k).
    """
    from scipy.special import ndtr

    chosen = cuts.busiest
    if _has_pairs(rods):
        return np.asarray((values[..., chosen] <= 0.0).mean(axis=1))
    by_state = cuts.by_state[chosen].reshape(-1, *rods.mean.shape[1:])
    mean, variance = _compute_cut_moments(rods, by_state)
    mean += cuts.start[chosen]
    return np.asarray(ndtr(-mean / np.sqrt(np.maximum(variance, 1e-12))))


def _compute_cut_moments(
    rods: ConditionedRods, cuts: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Compute mean and variance (k, cuts) of slopes (cuts, n, w) in each posterior."""
    mean: FloatArray = np.einsum("inw,knw->ki", cuts, rods.mean, optimize=True)
    by_common = np.einsum("inw,knwc->kic", cuts, rods.by_common, optimize=True)
    mean += np.einsum("kic,kc->ki", by_common, rods.common_mean)
    variance: FloatArray = np.einsum(
        "kic,kcd,kid->ki", by_common, rods.common_covariance, by_common
    )
    for draw in range(len(mean)):
        spread = np.einsum("inw,nwv->inv", cuts, rods.covariance[draw])
        variance[draw] += (spread * cuts).sum(axis=(1, 2))
    return mean, variance
