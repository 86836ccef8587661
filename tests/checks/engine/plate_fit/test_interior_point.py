"""Start and pace of the plate solver.

A wrong sign in a step is repaired by later steps and by the search of rotations, so
that the placement found stays right. What it costs is steps: these tests count them.
"""

import numpy as np
import pytest

from checks.engine.plate_fit import interior_point
from checks.engine.plate_fit.batch import PlacementBounds, PlateBatch
from checks.engine.plate_fit.plate import COUNTED, HELD, fit_plates

FOUR = np.array([[-51.0, -63.0], [51.0, -63.0], [51.0, 63.0], [-51.0, 63.0]])


def rotate(points, turn):
    c, s = np.cos(turn), np.sin(turn)
    return points @ np.array([[c, s], [-s, c]])


@pytest.mark.parametrize("turn", [0.3, -1.2, 2.9])
def test_the_solver_starts_at_the_least_squares_rotation(turn):
    # A rigid copy, turned and moved: least squares has it exactly.
    rods = rotate(FOUR, turn) + np.array([12.0, -7.0])
    batch = PlateBatch(
        FOUR[None],
        rods[None],
        np.full((1, 4), 2.0),
        np.ones((1, 4), np.bool_),
        np.zeros((1, 2)),
    )
    assert batch.rotation[0] == pytest.approx(turn, abs=1e-12)
    np.testing.assert_allclose(batch.shift[:, 0], [12.0, -7.0], atol=1e-12)


def test_a_start_is_clipped_to_its_bounds():
    batch = PlateBatch(
        FOUR[None],
        FOUR[None],
        np.full((1, 4), 2.0),
        np.ones((1, 4), np.bool_),
        np.zeros((1, 2)),
    )
    bounds = PlacementBounds(
        shift_mm=np.array([[1.0, 2.0]]), rotation_rad=np.array([0.01])
    )
    batch.set_start(np.array([-0.5]), np.array([[-3.0, 1.5]]), bounds)
    assert batch.rotation.tolist() == [-0.01]
    assert batch.shift[:, 0].tolist() == [-1.0, 1.5]


def count_steps(monkeypatch, **more):
    """Steps that 200 disturbed plates take without the active set's short cut."""
    take, steps = interior_point._take_step, []

    def counted(problem, state):
        unfinished = take(problem, state)
        steps.append(int(unfinished.sum()))
        return unfinished

    monkeypatch.setattr(interior_point, "_take_step", counted)
    monkeypatch.setattr(interior_point, "POLISH_AT_STEPS", ())
    rng = np.random.default_rng(41)
    rods = FOUR + rng.normal(0.0, 2.5, (200, 4, 2))
    holes = np.broadcast_to(FOUR, rods.shape)
    fit = fit_plates(holes, rods, np.full((200, 4), 2.4), threshold_mm=np.inf, **more)
    assert np.isfinite(fit.interference_mm).all()
    return len(steps), sum(steps)


def test_free_plates_converge_in_a_few_steps(monkeypatch):
    rounds, plate_steps = count_steps(monkeypatch)
    assert rounds <= 14
    assert plate_steps <= 200 * 9


def test_plates_with_limits_converge_in_a_few_steps(monkeypatch):
    limit = np.full((200, 2), 0.5)
    start = np.zeros(200), np.zeros((200, 2))
    rounds, plate_steps = count_steps(monkeypatch, shift_limit_mm=limit, start=start)
    assert rounds <= 16
    assert plate_steps <= 200 * 10


def test_plates_with_a_held_rod_converge_in_a_few_steps(monkeypatch):
    role = np.full((200, 4), COUNTED)
    role[:, 2] = HELD
    rounds, plate_steps = count_steps(monkeypatch, role=role)
    assert rounds <= 16
    assert plate_steps <= 200 * 10
