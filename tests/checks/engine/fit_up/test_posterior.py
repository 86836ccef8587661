"""The posterior of the rods against one dense normal problem, written out."""

import numpy as np
import pytest

from checks.engine.fit_up.posterior import (
    PairReadings,
    PlaceReadings,
    RodPosterior,
    rods_of_states,
)
from checks.engine.fit_up.probability import compute_misfit_distribution
from checks.engine.fit_up.spread_prior import (
    DEFAULT_SPREADS,
    SpreadDraws,
    draw_spreads,
)
from tests.published.test_fit_up import SQUARE, build_bay, draw_building

N, M, W = 7, 4, 9
COMMON = 2


def draw_readings(seed: int, *, missing: bool = True) -> PlaceReadings:
    """Draw lines and rods of the seven positions, some offsets read as gages. [mm]"""
    rng = np.random.default_rng(seed)
    position = np.repeat(np.arange(N), W)
    row = np.tile(np.eye(W), (N, 1))
    if missing:
        # A gage instead of the second rod's offset.
        row[3::W] = 0.0
        row[3::W, 1], row[3::W, 3] = -1.0, 1.0
    k = len(position)
    return PlaceReadings(
        position=position,
        row=row,
        value=rng.normal(0.0, 1.5, k),
        independent=rng.uniform(0.4, 1.5, k),
        common=rng.normal(0.0, 0.8, (k, COMMON)),
        on_wall=np.ones(N, bool),
    )


def draw_spread(seed: int) -> SpreadDraws:
    """Draw one set of spreads with some outliers in it."""
    rng = np.random.default_rng(seed)
    variance = rng.uniform(0.2, 2.0, (1, 4 * N + M * N))
    variance[:, 3 : 4 * N : 4] *= 1e-5  # turns
    return SpreadDraws(
        spread=DEFAULT_SPREADS[None],
        outlier=np.zeros(variance.shape, bool),
        variance=variance,
    )


def solve_densely(problem, readings, draws, pairs=None):
    """Mean and covariance of all states and common errors, by one normal matrix."""
    size = N * W + COMMON
    information, pull = np.zeros((size, size)), np.zeros(size)
    information[-COMMON:, -COMMON:] = np.eye(COMMON)
    groups = draws.variance[0, : 4 * N].reshape(N, 4)
    each = draws.variance[0, 4 * N :].reshape(N, M)
    for p in range(N):
        prior = np.zeros((W, W))
        prior[0, 0] = groups[p, 0]
        for i, (x, y) in enumerate(problem.holes[p]):
            for j, (u, v) in enumerate(problem.holes[p]):
                prior[1 + 2 * i, 1 + 2 * j] += groups[p, 1] + groups[p, 3] * y * v
                prior[2 + 2 * i, 2 + 2 * j] += groups[p, 2] + groups[p, 3] * x * u
                prior[1 + 2 * i, 2 + 2 * j] += -groups[p, 3] * y * u
                prior[2 + 2 * i, 1 + 2 * j] += -groups[p, 3] * x * v
            prior[1 + 2 * i, 1 + 2 * i] += each[p, i]
            prior[2 + 2 * i, 2 + 2 * i] += each[p, i]
        at = slice(p * W, (p + 1) * W)
        information[at, at] = np.linalg.inv(prior)
    rows = np.zeros((len(readings.value), size))
    for k, p in enumerate(readings.position):
        rows[k, p * W : (p + 1) * W] = readings.row[k]
    rows[:, -COMMON:] = readings.common
    value, sigma = readings.value, readings.independent
    if pairs is not None:
        more = np.zeros((len(pairs.value), size))
        more[:, 0 : N * W : W] = pairs.by_line
        more[:, -COMMON:] = pairs.common
        rows = np.vstack((rows, more))
        value = np.append(value, pairs.value)
        sigma = np.append(sigma, pairs.independent)
    information += (rows / sigma[:, None] ** 2).T @ rows
    pull += rows.T @ (value / sigma**2)
    covariance = np.linalg.inv(information)
    return covariance @ pull, covariance


@pytest.mark.parametrize("seed", range(3))
def test_the_posterior_is_that_of_one_dense_normal_problem(seed):
    problem, readings, draws = draw_building(seed), draw_readings(seed), draw_spread(1)
    mean, covariance = solve_densely(problem, readings, draws)
    found = RodPosterior(problem, readings).condition(draws)
    assert found.common_mean[0] == pytest.approx(mean[-COMMON:], abs=1e-8)
    assert found.common_covariance[0] == pytest.approx(
        covariance[-COMMON:, -COMMON:], abs=1e-8
    )
    states = found.mean[0] + found.by_common[0] @ found.common_mean[0]
    assert states.ravel() == pytest.approx(mean[:-COMMON], abs=1e-7)
    across = found.by_common[0].reshape(-1, COMMON) @ found.common_covariance[0]
    assert across == pytest.approx(covariance[:-COMMON, -COMMON:], abs=1e-7)


def test_draws_have_the_mean_and_covariance_of_the_dense_problem_with_bays():
    problem, readings, draws = draw_building(0), draw_readings(0), draw_spread(1)
    by_line = np.zeros((2, N))
    by_line[0, :2], by_line[1, 3:5] = (-1.0, 1.0), (-1.0, 1.0)
    pairs = PairReadings(
        by_line=by_line,
        shift=np.zeros((N, 2, 2)),
        value=np.array([2.0, -1.0]),
        independent=np.array([0.5, 0.7]),
        common=np.array([[0.4, 0.1], [0.3, 0.0]]),
    )
    mean, covariance = solve_densely(problem, readings, draws, pairs)
    rods = RodPosterior(problem, readings).condition(draws, pairs)
    drawn = rods.sample(20_000, np.random.default_rng(3))[0].reshape(20_000, -1)
    size = N * W
    error = np.sqrt(np.diag(covariance)[:size] / 20_000)
    assert np.abs(drawn.mean(axis=0) - mean[:size]).max() < 5.0 * error.max()
    assert np.abs(np.cov(drawn.T) - covariance[:size, :size]).max() < 0.06


def test_a_span_moves_its_ends_apart_by_what_was_read():
    problem, readings, draws = draw_building(0), draw_readings(0), draw_spread(1)
    shift = np.zeros((N, 2, 1))
    shift[0, 1, 0], shift[4, 1, 0] = -0.5, -0.5
    pairs = PairReadings(
        by_line=np.zeros((1, N)),
        shift=shift,
        value=np.array([6.0]),
        independent=np.array([1e-6]),
        common=np.zeros((1, COMMON)),
    )
    posterior = RodPosterior(problem, readings)
    rods = [
        rods_of_states(
            posterior.condition(draws, given).sample(1, np.random.default_rng(5))
        )
        for given in (None, pairs)
    ]
    # The noise of the span is drawn last: the same draws stand before it.
    moved = (rods[1] - rods[0])[0, 0]
    assert moved[[0, 4], :, 1] == pytest.approx(-3.0, abs=1e-3)
    assert np.abs(np.delete(moved, [0, 4], axis=0)).max() < 1e-9


def test_a_rod_far_out_is_taken_for_an_outlier_and_stays_where_it_was_read():
    problem = draw_building(0)
    readings = draw_readings(4, missing=False)
    value = np.random.default_rng(0).normal(0.0, 0.3, N * W)
    value[W * 2 + 5] = 12.0
    quiet = PlaceReadings(
        position=readings.position,
        row=readings.row,
        value=value,
        independent=np.full(N * W, 0.5),
        common=np.zeros((N * W, COMMON)),
        on_wall=readings.on_wall,
    )
    posterior = RodPosterior(problem, quiet)
    draws = draw_spreads(posterior.list_items(), 48, np.random.default_rng(1))
    rod = 4 * N + 2 * M + 2
    assert draws.outlier[:, rod].mean() > 0.95
    assert draws.outlier[:, 4 * N : 4 * N + M].mean() < 0.1
    mean = posterior.condition(draws).mean[:, 2, 5].mean()
    assert mean == pytest.approx(12.0, abs=1.0)


def test_the_same_seed_gives_the_same_probability_and_another_nearly():
    problem = build_bay((3.5, -3.0), 3.0, line=3.175, bay=2.0)
    rows = np.tile(np.eye(W), (2, 1))
    value = np.zeros(2 * W)
    value[0], value[W] = 4.5, -4.0
    readings = PlaceReadings(
        position=np.repeat(np.arange(2), W),
        row=rows,
        value=value,
        independent=np.full(2 * W, 0.7),
        common=np.zeros((2 * W, 0)),
        on_wall=np.ones(2, bool),
    )
    first, *others = (
        compute_misfit_distribution(problem, readings, seed)
        for seed in (7, *range(7, 17))
    )
    assert first.probability == others[0].probability
    found = np.array([each.probability for each in others])
    assert 0.05 < found.mean() < 0.95
    assert found.std(ddof=1) < 0.02
    # The standard error that each gives is the spread over the seeds.
    error = np.mean([each.error for each in others])
    assert 0.5 * error < found.std(ddof=1) < 2.0 * error
    assert SQUARE.shape == (M, 2)
