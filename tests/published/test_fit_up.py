"""Fit-up against results by hand, and against cvxpy on small random buildings.

By hand: two columns side by side in a bay whose rod groups stand displaced as a whole,
so that each plate can be from d - c - t to d + c + t along the bay (holes 2 c wider
than the rods) and the least t follows from the two ends that pull; and a pattern turned
further than its plate may turn, whose holes miss by a chord. cvxpy 1.9 with Clarabel
gave the same to the digits shown. The reference in `solve_with_cvxpy` is written from
the model's own words (shifts, turns, grid), not in the unknowns of the program.
"""

import math
from dataclasses import replace

import cvxpy as cp
import numpy as np
import pytest

from checks.engine.arrays import FloatArray
from checks.engine.fit_up.cone_program import ConeProgram, solve_fit_up
from checks.engine.fit_up.elements import (
    compute_missing_lengths,
    compute_pair_misfits,
    compute_single_misfits,
)
from checks.engine.fit_up.openings import find_openings
from checks.engine.fit_up.posterior import ConditionedRods
from checks.engine.fit_up.probability import evaluate_posteriors
from checks.engine.fit_up.problem import (
    FitUpLimits,
    FitUpProblem,
    compute_grid_arms,
    rotate_quarter,
)

INCH = 25.4
SQUARE = np.array([(-100.0, -100.0), (100.0, -100.0), (100.0, 100.0), (-100.0, 100.0)])
HALF_DEGREE = math.radians(0.5)
NO_TURN = 1e-9


def build_bay(
    displacement: tuple[float, float],
    clearance: float,
    *,
    line: float,
    bay: float,
    turn: float = NO_TURN,
) -> FitUpProblem:
    """Build two columns 6 m apart, their groups displaced along the bay. [mm]"""
    return build_problem(
        centre=np.array([(0.0, 0.0), (6000.0, 0.0)]),
        angle=np.zeros(2),
        rods=np.array([[(d, 0.0)] * 4 for d in displacement]),
        clearance=clearance,
        pairs=[(0, 1)],
        pair_limit=[bay],
        limits=FitUpLimits(line=line, turn=turn, grid=1e-9),
    )


def build_problem(
    *,
    centre: FloatArray,
    angle: FloatArray,
    rods: FloatArray,
    clearance: float,
    pairs: list[tuple[int, int]],
    pair_limit: list[float],
    limits: FitUpLimits,
    direction: FloatArray | None = None,
) -> FitUpProblem:
    """Build a problem of square patterns, positions turned by an angle. [mm, rad]"""
    n = len(centre)
    cos, sin = np.cos(angle), np.sin(angle)
    axes = np.stack((np.stack((cos, sin), -1), np.stack((-sin, cos), -1)), axis=1)
    ends = np.array(pairs, dtype=np.intp).reshape(-1, 2)
    if direction is None:
        direction = centre[ends[:, 1]] - centre[ends[:, 0]]
        direction = direction / np.linalg.norm(direction, axis=1, keepdims=True)
    arm, reach = compute_grid_arms(centre)
    return FitUpProblem(
        holes=np.broadcast_to(SQUARE, (n, 4, 2)),
        rods=rods,
        clearance=np.full((n, 4), clearance),
        real=np.ones((n, 4), dtype=bool),
        axes=axes,
        arm=arm,
        reach=reach,
        walls=np.eye(2),
        pairs=ends,
        direction=direction,
        pair_limit=np.array(pair_limit),
        limits=limits,
    )


@pytest.mark.parametrize(
    ("displacement", "misfit", "shifts"),
    [((3.5, -3.0), -0.75, (1.25, -0.75)), ((5.0, -4.0), 0.5, (1.5, -0.5))],
)
def test_two_displaced_columns_have_the_misfit_found_by_hand(
    displacement, misfit, shifts
):
    # t = (d1 - d2 - 2 c - bay limit) / 2, as each plate goes d - c - t towards the
    # other and their distance may give by the bay's limit.
    problem = build_bay(displacement, 3.0, line=3.175, bay=2.0)
    found = solve_fit_up(problem)
    assert found.misfit == pytest.approx(misfit, abs=1e-6)
    assert found.shift[:, 0] == pytest.approx(shifts, abs=1e-5)
    alone = compute_single_misfits(problem, np.arange(2))
    # Alone d - line limit - c, where the line limit binds; by hand.
    expected = [max(abs(d) - 3.175, 0.0) - 3.0 for d in displacement]
    assert alone == pytest.approx(expected, abs=1e-6)
    assert compute_pair_misfits(problem, np.array([0])) == pytest.approx(
        [misfit], abs=1e-6
    )


def test_the_missing_length_is_what_the_bay_would_have_to_give_more():
    # 5 - 3 and -4 + 3 are 3 mm apart with holes as they are; 2 are allowed.
    problem = build_bay((5.0, -4.0), 3.0, line=3.175, bay=2.0)
    missing = compute_missing_lengths(problem, np.array([0]))
    assert missing == pytest.approx([1.0], abs=1e-6)


def test_holes_larger_by_twice_the_misfit_would_do():
    problem = build_bay((5.0, -4.0), 3.0, line=3.175, bay=2.0)
    wider = problem.with_clearance(problem.clearance + 0.5)
    assert solve_fit_up(wider).misfit == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("hole", "alone", "together"), [(1.0, 0.0, 1 / 16), (15 / 16, 1 / 32, 3 / 32)]
)
def test_stacked_tolerances_of_an_eighth_each_keep_the_bay_from_going_together(
    hole, alone, together
):
    # Rods 3/4 in, groups 1/4 in off towards each other, line and bay limit 1/8 in.
    problem = build_bay(
        (0.25 * INCH, -0.25 * INCH),
        (hole - 0.75) / 2.0 * INCH,
        line=INCH / 8,
        bay=INCH / 8,
    )
    single = compute_single_misfits(problem, np.arange(2))
    assert single == pytest.approx([alone * INCH] * 2, abs=1e-6)
    assert solve_fit_up(problem).misfit == pytest.approx(together * INCH, abs=1e-6)


@pytest.mark.parametrize(
    ("turn", "misfit", "linear"),
    [(0.02, -0.40572, -0.40564), (0.03, 1.00845, 1.00854)],
)
def test_a_pattern_turned_beyond_the_limit_misses_by_a_chord(turn, misfit, linear):
    # 2 |h| sin((turn - limit) / 2) - c, the limit half a degree.
    cos, sin = math.cos(turn), math.sin(turn)
    rods = SQUARE @ np.array([(cos, sin), (-sin, cos)]) - SQUARE
    problem = build_problem(
        centre=np.zeros((1, 2)),
        angle=np.zeros(1),
        rods=rods[None],
        clearance=2.0,
        pairs=[],
        pair_limit=[],
        limits=FitUpLimits(line=3.175, turn=HALF_DEGREE, grid=1e-9),
    )
    first = solve_fit_up(problem)
    assert first.misfit == pytest.approx(linear, abs=6e-6)
    again = solve_fit_up(problem, turns=first.turn)
    assert again.misfit == pytest.approx(misfit, abs=6e-6)
    chord = 2.0 * math.hypot(100, 100) * math.sin((turn - HALF_DEGREE) / 2.0) - 2.0
    assert again.misfit == pytest.approx(chord, abs=1e-6)


def draw_building(seed: int) -> FitUpProblem:
    """Draw a hall with end walls and a column inside, all at odd angles. [mm]"""
    rng = np.random.default_rng(seed)
    skew = rng.uniform(-0.4, 0.4)
    centre = np.array(
        [(3e3, 0), (9e3, 0), (12e3, 4e3), (9e3, 9e3), (3e3, 9e3), (0, 4e3), (6e3, 5e3)]
    )
    cos, sin = math.cos(skew), math.sin(skew)
    centre = centre @ np.array([(cos, sin), (-sin, cos)])
    angle = skew + np.array([0.0, 0.0, 0.5, 1.0, 1.0, 1.5, 0.17]) * math.pi
    return build_problem(
        centre=centre,
        angle=angle,
        rods=rng.normal(0.0, 2.2, (7, 1, 2)) + rng.normal(0.0, 0.8, (7, 4, 2)),
        clearance=float(rng.uniform(2.0, 4.0)),
        pairs=[(0, 1), (3, 4), (0, 4), (1, 3), (5, 2), (6, 5)],
        pair_limit=[3.175, 3.175, 2.0, 2.0, 2.5, 3.0],
        limits=FitUpLimits(line=3.175, turn=HALF_DEGREE, grid=6.35),
    )


def solve_with_cvxpy(
    problem: FitUpProblem, least_at: float | None = None
) -> tuple[float, FloatArray]:
    """Solve by cvxpy in shifts, turns and grid; return the least value and the grid."""
    n = len(problem)
    s, alpha, grid = cp.Variable((n, 2)), cp.Variable(n), cp.Variable(3)
    t = cp.Variable() if least_at is None else least_at
    place = [grid[:2] + grid[2] * problem.arm[p] for p in range(n)]  # plan axes
    shift = [problem.axes[p].T @ s[p] for p in range(n)]
    limits = problem.limits
    constraints = [
        cp.norm(s[p] + alpha[p] * rotate_quarter(hole) - rod) <= c + t
        for p in range(n)
        for hole, rod, c in zip(
            problem.holes[p], problem.rods[p], problem.clearance[p], strict=True
        )
    ]
    constraints += [
        cp.abs(problem.axes[p] @ (shift[p] - place[p])) <= limits.line for p in range(n)
    ]
    constraints += [cp.abs(alpha - grid[2]) <= limits.turn]
    constraints += [
        cp.abs(e @ (shift[q] - place[q] - shift[p] + place[p])) <= limit
        for (p, q), e, limit in zip(
            problem.pairs, problem.direction, problem.pair_limit, strict=True
        )
    ]
    constraints += [
        cp.abs(grid[:2]) <= limits.grid,
        cp.abs(grid[2]) * problem.reach <= limits.grid,
    ]
    scale = np.array([1.0, 1.0, problem.reach])
    goal = t if least_at is None else cp.norm(cp.multiply(scale, grid))
    value = cp.Problem(cp.Minimize(goal), constraints).solve(
        solver=cp.CLARABEL, tol_gap_abs=1e-10, tol_gap_rel=1e-10, tol_feas=1e-10
    )
    return float(value), np.asarray(grid.value)


@pytest.mark.parametrize("seed", range(6))
def test_the_misfit_of_a_skewed_building_is_that_of_cvxpy(seed):
    problem = draw_building(seed)
    expected, _ = solve_with_cvxpy(problem)
    assert solve_fit_up(problem).misfit == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("seed", range(3))
def test_the_least_movement_of_the_grid_is_that_of_cvxpy(seed):
    problem = draw_building(seed)
    # All concrete 5 mm off along x: the grid has to follow.
    problem = problem.with_rods(problem.rods + 5.0 * problem.axes[:, None, :, 0])
    misfit = max(solve_fit_up(problem).misfit, 0.0) + 0.01
    least, grid = solve_with_cvxpy(problem, least_at=misfit)
    found = ConeProgram(problem).solve_least_movement(misfit)
    moved = found.grid * np.array([1.0, 1.0, problem.reach])
    assert np.linalg.norm(moved) == pytest.approx(least, abs=2e-4)
    assert found.grid[:2] == pytest.approx(grid[:2], abs=5e-3)


@pytest.mark.parametrize("seed", range(3))
def test_the_slope_is_the_change_of_the_misfit_with_a_rod(seed):
    problem = draw_building(seed)
    found = solve_fit_up(problem)
    worst = np.unravel_index(np.abs(found.slope).argmax(), found.slope.shape)
    step = np.zeros_like(problem.rods)
    step[worst] = 1e-3
    up, down = (
        solve_fit_up(problem.with_rods(problem.rods + way * step)).misfit
        for way in (1.0, -1.0)
    )
    assert (up - down) / 2e-3 == pytest.approx(found.slope[worst], abs=1e-3)


@pytest.mark.parametrize("seed", range(4))
def test_a_solution_bounds_the_misfit_of_all_other_rods_from_below(seed):
    problem = draw_building(seed)
    found = solve_fit_up(problem)
    rng = np.random.default_rng(seed)
    other = problem.rods + rng.normal(0.0, 1.0, problem.rods.shape)
    bound = found.misfit + float((found.slope * (other - problem.rods)).sum())
    assert solve_fit_up(problem.with_rods(other)).misfit >= bound - 1e-6


@pytest.mark.parametrize(
    ("displacement", "correlation", "expected"),
    [
        ((3.5, -3.0), 0.0, 0.8555),
        ((5.0, -4.0), 0.0, 0.2390),
        ((3.5, -3.0), 0.8, 0.987),
        ((5.0, -4.0), 0.8, 0.055),
    ],
)
def test_the_probability_of_two_columns_is_that_of_one_normal_difference(
    displacement, correlation, expected
):
    # Displacements normal with sd 1: goes together if their difference is at most
    # 2 c + 2 = 8: Phi(1.5 / sqrt 2) = 0.85558 and Phi(-1 / sqrt 2) = 0.23975, and a
    # little less with the line limit (0.8555 and 0.2390 by two million draws).
    # With correlation 0.8, as by a common tape error, the difference has sd sqrt 0.4.
    problem = build_bay(displacement, 3.0, line=3.175, bay=2.0)
    problem = replace(problem, limits=replace(problem.limits, grid=0.01))
    k, n, w = 48, 2, 9
    mean = np.zeros((k, n, w))
    mean[:, :, 0] = displacement
    covariance = np.broadcast_to(np.eye(w) * 1e-10, (k, n, w, w)).copy()
    covariance[:, :, 0, 0] = 1.0 - correlation
    by_common = np.zeros((k, n, w, 1))
    by_common[:, :, 0, 0] = math.sqrt(correlation)
    rods = ConditionedRods(
        mean=mean,
        covariance=covariance,
        by_common=by_common,
        common_mean=np.zeros((k, 1)),
        common_covariance=np.ones((k, 1, 1)),
    )
    found = evaluate_posteriors(problem, rods, [rods] * 10, np.random.default_rng(8))
    # 3,840 draws: three of their standard deviations.
    assert found.probability == pytest.approx(expected, abs=0.02)
    assert 0.001 < found.error < 0.01
    assert found.bound >= expected - 0.005


def test_what_is_opened_goes_together_and_nothing_less_does():
    problem = build_bay((5.0, -4.0), 3.0, line=3.175, bay=2.0)
    opening = find_openings(problem)
    # 1 mm is missing; it takes 1 mm of radius, at one plate or shared between both.
    assert opening.sum() == pytest.approx(1.0, abs=1e-4)
    wider = problem.with_clearance(problem.clearance + opening[:, None])
    assert solve_fit_up(wider).misfit == pytest.approx(0.0, abs=1e-4)
