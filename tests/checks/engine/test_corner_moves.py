import numpy as np
import pytest

from checks.engine.corner_moves import find_corner_moves
from checks.engine.errors import DegenerateGeometryError

A, B = 24_384.0, 15_240.0
PLAN = np.array([[0.0, 0.0], [A, 0.0], [A, B], [0.0, B]])
PAIRS = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [0, 2], [1, 3]])
ELL = np.array([[0, 0], [30, 0], [30, 12], [18, 12], [18, 24], [0, 24]]) * 1e3
SKEW = np.array([[0.0, 0.0], [20e3, 0.0], [25e3, 8660.0], [5e3, 8660.0]])


def moved(points, turn, shift):
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray(points) @ np.array([[c, s], [-s, c]]) + shift


def _angle(points):
    """Angle at the first of three points, from the second to the third. [rad]"""
    (a, b), (c, d) = points[1:] - points[0]
    return np.arctan2(a * d - b * c, a * c + b * d)


def test_square_up_moves_the_far_wall_back():
    built = PLAN + np.array([[0, 0], [0, 0], [25.4, 0], [25.4, 0]])
    found = find_corner_moves(PLAN, built)
    assert found.kept == (0, 1)
    assert found.corner.tolist() == [2, 3]
    assert found.wall.tolist() == [2, 2]
    # the far wall runs from NE to NW: towards its second corner is back to the left
    np.testing.assert_allclose(found.move_mm, [25.4, 25.4])
    np.testing.assert_allclose(found.shift_mm, [[-25.4, 0], [-25.4, 0]], atol=1e-9)


def test_square_up_moves_the_one_corner_that_is_out():
    built = PLAN + np.array([[0, 0], [0, 0], [0, 0], [-18.0, 0]])
    found = find_corner_moves(PLAN, built)
    np.testing.assert_allclose(found.shift_mm, [[0, 0], [18.0, 0]], atol=1e-9)


@pytest.mark.parametrize("keep", [0, 1, 2, 3])
def test_after_the_moves_the_kept_wall_has_square_corners(keep):
    rng = np.random.default_rng(61)
    built = moved(PLAN + rng.normal(scale=20, size=PLAN.shape), 0.3, [1e5, 2e5])
    found = find_corner_moves(PLAN, built, keep)
    squared = built.copy()
    squared[found.corner] += found.shift_mm
    first, second = found.kept
    base = squared[second] - squared[first]
    for end, neighbour in ((first, (first - 1) % 4), (second, (second + 1) % 4)):
        side = squared[neighbour] - squared[end]
        assert abs(base @ side) < 1e-9 * np.linalg.norm(base) * np.linalg.norm(side)
    for corner, wall, xy in zip(found.corner, found.wall, found.shift_mm, strict=True):
        assert corner in (wall, (wall + 1) % 4)
        way = built[(wall + 1) % 4] - built[wall]
        assert abs(way[0] * xy[1] - way[1] * xy[0]) < 1e-6 * np.linalg.norm(way)


def test_square_up_of_a_skewed_ell_removes_the_skew():
    lean = 0.004
    built = ELL + np.stack([ELL[:, 1] * lean, np.zeros(6)], axis=1)
    found = find_corner_moves(ELL, built)
    squared = built.copy()
    squared[found.corner] += found.shift_mm
    np.testing.assert_allclose(squared, ELL, atol=1e-9)


def test_a_skewed_outline_with_its_angles_as_planned_needs_no_squaring():
    longer = SKEW + np.array([[0, 0], [0, 0], [50.0, 86.6], [50.0, 86.6]])
    built = moved(longer, 0.2, [3e5, -1e5])
    np.testing.assert_allclose(find_corner_moves(SKEW, built).move_mm, 0.0, atol=1e-7)


@pytest.mark.parametrize("keep", [0, 1, 2, 3])
def test_after_the_moves_a_skewed_outline_has_the_plans_angles_at_its_kept_wall(keep):
    plan = np.array([[0.0, 0.0], [20e3, 1e3], [23e3, 14e3], [-5e2, 12e3]])
    rng = np.random.default_rng(67)
    built = moved(plan + rng.normal(scale=20, size=plan.shape), -0.4, [1e5, 2e5])
    found = find_corner_moves(plan, built, keep)
    squared = built.copy()
    squared[found.corner] += found.shift_mm
    first, second = found.kept
    for end, other, neighbour in (
        (first, second, (first - 1) % 4),
        (second, first, (second + 1) % 4),
    ):
        at = [end, other, neighbour]
        assert _angle(squared[at]) == pytest.approx(_angle(plan[at]), abs=1e-9)


def test_square_up_of_an_undetermined_outline_is_refused():
    with pytest.raises(DegenerateGeometryError, match="not determined"):
        find_corner_moves(PLAN, np.full((4, 2), np.nan))
