"""The probability that a building goes together, from few solutions.

The misfit t is a convex function of the rods, so that each solution (t_j, slopes l_j,
rods r_j) is a lower bound everywhere: t(r) >= t_j + l_j . (r - r_j), a *cut*. The rods
are drawn once from each of `CUTS` posteriors, solved, and the cuts kept. The largest
cut falls short of t by about ::

    rest = mean over j of t_j - max over i != j of cut_i(r_j)

which is added; the share of many further draws of the rods with max cut + rest <= 0 is
the probability. One cut alone gives a proven upper bound, and so does the least of
them in each posterior::

    P <= mean over posteriors of min over i of Phi(-mean(cut_i) / sd(cut_i))
"""

from dataclasses import dataclass

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.fit_up.cone_program import solve_fit_up
from checks.engine.fit_up.posterior import (
    ConditionedRods,
    PairReadings,
    PlaceReadings,
    RodPosterior,
    rods_of_states,
)
from checks.engine.fit_up.problem import FitUpProblem
from checks.engine.fit_up.spread_prior import draw_spreads

CUTS = 48
DRAWS_PER_CUT = 84
FEW_FAILING = 6
"""With fewer failing draws than this, the worst of all draws say what decides."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MisfitDistribution:
    """The distribution of the misfit over what the rods may be.

    Attributes
    ----------
    probability : that it is not above zero.
    bound : which the probability does not exceed, but for the noise of the draws.
    mean, sd : of the misfit. [mm]
    share : (n,) each position's share in the draws that fail, its sum 1.
    slope : (n, m, 2) mean change of the misfit by each rod's deviation.
    """

    probability: float
    bound: float
    mean: float
    sd: float
    share: FloatArray
    slope: FloatArray


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
        If the solver does not reach its tolerance.
    """
    rng = np.random.default_rng(seed)
    posterior = RodPosterior(problem, readings)
    draws = draw_spreads(posterior.list_items(), cuts, rng)
    return evaluate_posteriors(problem, posterior.condition(draws, pairs), rng)


def evaluate_posteriors(
    problem: FitUpProblem, rods: ConditionedRods, rng: np.random.Generator
) -> MisfitDistribution:
    """Compute the distribution of the misfit over normal posteriors, equally weighted.

    Parameters
    ----------
    problem : FitUpProblem
        Its rods are not used.
    rods : ConditionedRods
        One posterior for each cut.
    rng : Generator

    Raises
    ------
    EngineError
        If the solver does not reach its tolerance.
    """
    states = rods.sample(1 + DRAWS_PER_CUT, rng)
    at = rods_of_states(states[:, 0])
    solutions = [solve_fit_up(problem.with_rods(each)) for each in at]
    misfit = np.array([each.misfit for each in solutions])
    slope = np.array([each.slope for each in solutions])
    shares = np.array([each.share for each in solutions])
    return _combine_cuts(rods, states, misfit, slope, shares)


def _combine_cuts(
    rods: ConditionedRods,
    states: FloatArray,
    misfit: FloatArray,
    slope: FloatArray,
    shares: FloatArray,
) -> MisfitDistribution:
    """Combine the cuts at the first draw of each posterior over all other draws."""
    k = misfit.size
    by_state = _slope_by_state(slope).reshape(k, -1)
    start = misfit - (by_state * states[:, 0].reshape(k, -1)).sum(axis=1)
    at_cuts = states[:, 0].reshape(k, -1) @ by_state.T + start  # (draw, cut)
    np.fill_diagonal(at_cuts, -np.inf)
    rest = float((misfit - at_cuts.max(axis=1)).mean())
    values = states[:, 1:].reshape(-1, by_state.shape[1]) @ by_state.T + start
    largest = values.max(axis=1) + rest
    active = np.bincount(values.argmax(axis=1), minlength=k) / len(values)
    failing = np.flatnonzero(misfit > 0.0)
    if failing.size < FEW_FAILING:
        failing = np.argsort(-misfit)[:FEW_FAILING]
    return MisfitDistribution(
        probability=float((largest <= 0.0).mean()),
        bound=_bound_probability(rods, states, by_state, start),
        mean=float(largest.mean()),
        sd=float(largest.std()),
        share=shares[failing].mean(axis=0),
        slope=np.einsum("k,knmi->nmi", active, slope),
    )


def _slope_by_state(slope: FloatArray) -> FloatArray:
    """Return slopes by the states (k, n, 1 + 2 m) from those by rods (k, n, m, 2)."""
    k, n, m, _ = slope.shape
    by_line = slope[..., 0].sum(axis=2, keepdims=True)
    return np.concatenate((by_line, slope.reshape(k, n, 2 * m)), axis=2)


def _bound_probability(
    rods: ConditionedRods, states: FloatArray, by_state: FloatArray, start: FloatArray
) -> float:
    """Compute the mean over the posteriors of the least bound by a single cut.

    Cuts are normal in each posterior. With bays or spans read their moments are taken
    from the draws.
    """
    k, n, w = rods.mean.shape
    if rods.pairs is not None and rods.pairs.value.size:
        values = states[:, 1:].reshape(k, -1, n * w) @ by_state.T + start
        mean, variance = values.mean(axis=1), values.var(axis=1)
    else:
        mean, variance = _compute_cut_moments(rods, by_state.reshape(-1, n, w))
        mean += start
    from scipy.special import ndtr

    below = ndtr(-mean / np.sqrt(np.maximum(variance, 1e-12)))
    return float(below.min(axis=1).mean())


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
