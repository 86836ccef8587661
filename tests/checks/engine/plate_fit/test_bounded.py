import numpy as np
import pytest

from checks.engine.plate_fit.bounded import fit_plate_within, rotation_chord_mm

SQUARE = np.array([[[-50.0, 228.6], [50.0, 228.6], [-50.0, 355.6], [50.0, 355.6]]])


def moved(points, turn, shift):
    middle = points.mean(axis=1, keepdims=True)
    c, s = np.cos(turn), np.sin(turn)
    rotated = (points - middle) @ np.array([[c, s], [-s, c]])
    return middle + np.asarray(shift) + rotated


def _grid_interference(holes, rods, clearance, move):
    """The least largest interference within the limits, by a grid that closes in."""
    middle = holes.mean(axis=0)
    arm, towards = holes - middle, rods - middle
    radius = np.hypot(*arm.T).max()
    reach = np.array([move, move, 2.0 * np.arcsin(min(1.0, move / (2.0 * radius)))])
    here, span, best = np.zeros(3), reach.copy(), np.inf
    steps = np.linspace(-1.0, 1.0, 9)
    cube = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 3)
    for _ in range(70):
        tried = np.clip(here + span * cube, -reach, reach)
        c, s = np.cos(tried[:, 2:]), np.sin(tried[:, 2:])
        x = c * arm[:, 0] - s * arm[:, 1] + tried[:, :1] - towards[:, 0]
        y = s * arm[:, 0] + c * arm[:, 1] + tried[:, 1:2] - towards[:, 1]
        worst = (np.hypot(x, y) - clearance).max(axis=1)
        if worst.min() < best:
            best, here = worst.min(), tried[worst.argmin()]
        span *= 0.78
    return best


@pytest.mark.parametrize("seed", range(12))
def test_no_placement_within_the_limits_is_better_than_the_one_found(seed):
    rng = np.random.default_rng(seed)
    holes = SQUARE[0] if seed % 2 else rng.uniform(-150.0, 150.0, (5, 2))
    rods = moved(holes[None], rng.uniform(-0.4, 0.4), rng.normal(0.0, 3.0, 2))[0]
    rods = rods + rng.normal(0.0, 2.0, rods.shape)
    clearance = rng.choice([0.0, 2.4, 7.0], len(holes))
    found = fit_plate_within(holes, rods, clearance, 3.175)
    assert (np.abs(found.shift_mm) <= 3.175).all()
    assert rotation_chord_mm(holes, found.rotation_rad) <= 3.175 + 1e-9
    # what it says of itself holds: the gap is where the rod is seen from its hole
    seen = moved(holes[None], found.rotation_rad, found.shift_mm)[0]
    apart = np.hypot(*(rods - seen).T)
    np.testing.assert_allclose(np.hypot(*found.gap_mm.T), apart, atol=1e-9)
    assert found.interference_mm == pytest.approx((apart - clearance).max(), abs=1e-9)
    assert (
        found.interference_mm
        <= _grid_interference(holes, rods, clearance, 3.175) + 1e-5
    )


def test_one_hole_is_shifted_as_far_as_it_may_be():
    hole, rod = np.array([[0.0, 80.0]]), np.array([[10.0, 81.0]])
    found = fit_plate_within(hole, rod, np.array([2.0]), 3.0)
    assert found.interference_mm == pytest.approx(
        5.0, abs=1e-6
    )  # (3, 1) to (10, 1), less 2
    np.testing.assert_allclose(found.shift_mm, [3.0, 1.0], atol=1e-3)
