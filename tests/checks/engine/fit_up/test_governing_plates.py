"""The misfit of few plates against the programme of all, on random rows of columns."""

import math
from dataclasses import replace

import numpy as np
import pytest

from checks.engine.fit_up.cone_program import solve_fit_up
from checks.engine.fit_up.elements import compute_pair_misfits
from checks.engine.fit_up.governing_plates import (
    SinglePlacements,
    prove_pair_misfits,
    solve_governing_plates,
)
from checks.engine.fit_up.problem import (
    FitUpLimits,
    FitUpProblem,
    compute_grid_arms,
    rotate_quarter,
)
from checks.engine.plate_fit.plate import fit_plates, fit_plates_within_bounds

SQUARE = np.array([(-100.0, -100.0), (100.0, -100.0), (100.0, 100.0), (-100.0, 100.0)])
BAY_MM = 6000.0
LIMITS = FitUpLimits(line=3.0, turn=math.radians(0.5), grid=6.0)


def draw_row(seed: int, *, columns: int = 24, far: int = 0) -> FitUpProblem:
    """Draw columns in a row, `far` of them with one rod some 10 mm out."""
    rng = np.random.default_rng(seed)
    rods = rng.normal(0.0, 0.7, (columns, 4, 2)) + rng.normal(0, 1.5, (columns, 1, 2))
    rods[rng.choice(columns, far, replace=False), 0] += 10.0
    centre = np.stack((BAY_MM * np.arange(columns), np.zeros(columns)), axis=1)
    arm, reach = compute_grid_arms(centre)
    pairs = np.stack((np.arange(columns - 1), np.arange(1, columns)), axis=1)
    return FitUpProblem(
        holes=np.broadcast_to(SQUARE, (columns, 4, 2)),
        rods=rods,
        clearance=np.full((columns, 4), 4.0),
        real=np.ones((columns, 4), dtype=bool),
        axes=np.broadcast_to(np.eye(2), (columns, 2, 2)),
        arm=arm,
        reach=reach,
        walls=np.eye(2),
        pairs=pairs,
        direction=np.broadcast_to([1.0, 0.0], (columns - 1, 2)),
        pair_limit=np.full(columns - 1, 3.0),
        limits=LIMITS,
    )


def place_singly(problem: FitUpProblem) -> SinglePlacements:
    rods = problem.holes + problem.rods
    free = fit_plates(problem.holes, rods, problem.clearance)
    n, limits = len(problem), problem.limits
    bounded = fit_plates_within_bounds(
        free,
        problem.holes,
        rods,
        problem.clearance,
        problem.real,
        shift_limit_mm=np.full((n, 2), limits.line),
        rotation_limit_rad=np.full(n, limits.turn),
    )
    return SinglePlacements(
        shift=bounded.shift_mm,
        turn=bounded.rotation_rad,
        overrun=bounded.interference_mm,
        least=free.interference_mm,
    )


@pytest.mark.parametrize("far", [0, 1, 3])
@pytest.mark.parametrize("seed", range(5))
def test_few_plates_give_the_misfit_of_all(seed, far):
    problem = draw_row(seed, far=far)
    singles = place_singly(problem)
    found = solve_governing_plates(problem, singles)
    turns = singles.turn
    for _ in range(4):
        whole = solve_fit_up(problem, turns=turns)
        turns = whole.turn
    assert found.misfit == pytest.approx(whole.misfit, abs=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_the_placement_proves_the_misfit(seed):
    problem = draw_row(seed, far=2)
    found = solve_governing_plates(problem, place_singly(problem))
    limits, grid = problem.limits, found.grid
    moved = grid[:2] + grid[2] * problem.arm
    shift = found.shift - moved
    assert np.abs(shift).max() <= limits.line + 1e-5
    assert np.abs(found.turn - grid[2]).max() <= limits.turn + 1e-7
    assert np.abs(np.diff(shift[:, 0])).max() <= 3.0 + 1e-5
    turned = (
        np.cos(found.turn)[:, None, None] * problem.holes
        + np.sin(found.turn)[:, None, None] * rotate_quarter(problem.holes)
        + found.shift[:, None]
    )
    gap = np.linalg.norm(turned - problem.holes - problem.rods, axis=2)
    assert (gap - problem.clearance).max() == pytest.approx(found.misfit, abs=1e-5)


def test_a_bay_too_long_between_sound_plates_is_not_overlooked():
    problem = draw_row(0, columns=6)
    # Both plates go on alone, with nothing to spare, and 5 mm too far apart.
    rods = np.zeros((6, 4, 2))
    rods[2, :, 0], rods[3, :, 0] = -2.5, 2.5
    problem = replace(problem, rods=rods, clearance=np.full((6, 4), 0.5))
    singles = place_singly(problem)
    assert singles.overrun.max() == pytest.approx(-0.5)
    # 5 mm less the limit of 3 and the play of both holes, shared by two plates.
    expected = (5.0 - 3.0 - 2 * 0.5) / 2.0
    assert solve_governing_plates(problem, singles).misfit == pytest.approx(
        expected, abs=1e-6
    )
    _, proved = prove_pair_misfits(problem, singles, np.array([2]))
    assert not proved[0]


def test_a_plate_without_a_known_place_is_solved_for():
    problem = draw_row(1)
    singles = place_singly(problem)
    unknown = singles.overrun.copy()
    unknown[4] = np.inf
    found = solve_governing_plates(problem, replace(singles, overrun=unknown))
    assert found.misfit == pytest.approx(
        solve_governing_plates(problem, singles).misfit, abs=1e-6
    )


@pytest.mark.parametrize("seed", range(5))
def test_a_proved_pair_has_the_misfit_of_its_own_programme(seed):
    problem = draw_row(seed, far=2)
    singles = place_singly(problem)
    pairs = np.arange(len(problem.pairs))
    misfit, proved = prove_pair_misfits(problem, singles, pairs)
    assert 0 < proved.sum() < pairs.size
    alone = compute_pair_misfits(problem, pairs, turns=singles.turn)
    assert misfit[proved] == pytest.approx(alone[proved], abs=1e-6)
