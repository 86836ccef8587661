"""How long outlines and patterns take, against scipy in the same run.

No limit is set: the ratio is printed with the result, for whoever reads it.
"""

import timeit

import numpy as np
import pytest
from scipy.optimize import least_squares

from checks.engine.outline import adjust_outline, adjust_outlines
from checks.engine.pattern import solve_patterns


def make_outline(n, seed=73):
    turn = np.linspace(0.0, 2.0 * np.pi, n, endpoint=False)
    plan = np.stack([24_000.0 * np.cos(turn), 15_000.0 * np.sin(turn)], axis=1)
    pairs = np.stack(np.triu_indices(n, 1), axis=1)
    true = np.linalg.norm(plan[pairs[:, 1]] - plan[pairs[:, 0]], axis=1)
    return (
        plan,
        pairs,
        true + np.random.default_rng(seed).normal(scale=2, size=len(true)),
    )


def solve_with_scipy(plan, pairs, read):
    loose = np.ones(plan.size, dtype=bool)
    loose[[0, 1, 3]] = False

    def misfit(x):
        flat = plan.ravel().copy()
        flat[loose] = x
        step = flat.reshape(-1, 2)[pairs]
        return (np.hypot(*(step[:, 1] - step[:, 0]).T) - read) / 2.0

    return least_squares(
        misfit, plan.ravel()[loose], xtol=1e-15, ftol=1e-15, gtol=1e-15
    )


def measure_seconds(task, times=5):
    return min(timeit.repeat(task, number=1, repeat=times))


@pytest.mark.parametrize("corners", [4, 6, 12])
def test_one_outline(benchmark, corners):
    plan, pairs, read = make_outline(corners)
    reference = measure_seconds(lambda: solve_with_scipy(plan, pairs, read))
    found = benchmark(adjust_outline, plan, pairs, read, 2.0)
    benchmark.extra_info["scipy_over_ours"] = reference / benchmark.stats["min"]
    assert found.determined


@pytest.mark.parametrize("corners", [4, 6, 12])
def test_a_thousand_outlines(benchmark, corners):
    plan, pairs, read = make_outline(corners)
    reference = measure_seconds(lambda: solve_with_scipy(plan, pairs, read)) * 1000
    noise = np.random.default_rng(79).normal(size=(1000, len(pairs)))
    plans = np.broadcast_to(plan, (1000, *plan.shape))
    found = benchmark(adjust_outlines, plans, pairs, read + noise, 2.0)
    benchmark.extra_info["scipy_over_ours"] = reference / benchmark.stats["min"]
    assert (found.outcome == "adjusted").all()


def test_ten_thousand_rods_with_gages(benchmark):
    rng = np.random.default_rng(83)
    one = np.array([[-50.8, 228.6], [50.8, 228.6], [-50.8, 355.6], [50.8, 355.6]])
    plan = np.tile(one, (2_500, 1))
    built = plan + rng.normal(scale=2, size=plan.shape)
    rods = np.arange(10_000)
    pairs = (rods.reshape(-1, 4)[:, [[0, 1], [2, 3], [0, 2], [1, 3]]]).reshape(-1, 2)
    length = np.linalg.norm(built[pairs[:, 1]] - built[pairs[:, 0]], axis=1)

    def solve():
        return solve_patterns(
            plan,
            rods // 4,
            setback=(rods, built[:, 1], 0.5),
            offset=(rods, built[:, 0], 0.5),
            gage=(pairs[:, 0], pairs[:, 1], length, 0.5),
        )

    assert benchmark(solve).determined.all()
