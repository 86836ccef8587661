"""Plate placement against outside solvers.

Clarabel through cvxpy, re-linearised to the true rotation, and a search of all turns
with it; shapely's smallest enclosing circle for patterns that cannot gain by turning;
scikit-image's rigid transform. The demand: 1e-6 mm of the true optimum.
"""

from itertools import combinations, product

import clarabel
import cvxpy as cp
import numpy as np
import pytest
import shapely
from scipy import sparse
from skimage.transform import EuclideanTransform

from checks.engine.plate_fit.plate import fit_plates, fit_plates_within_bounds
from checks.engine.plate_fit.slot_search import FITS_MM
from checks.engine.plate_fit.slots import find_shortest_slots

FOUR = np.array([[-51.0, -63.0], [51.0, -63.0], [51.0, 63.0], [-51.0, 63.0]])
DEMAND_MM = 1e-6


def rotate(points, turn):
    c, s = np.cos(turn), np.sin(turn)
    return points @ np.array([[c, s], [-s, c]])


def interference_at(holes, rods, clearance, turn, shift):
    centre = holes.mean(axis=0)
    gap = rotate(holes - centre, turn) + centre + shift - rods
    return float((np.hypot(*gap.T) - clearance).max())


def with_clarabel(holes, rods, clearance, turn=0.0, *, turning=True, limit=None):
    """Least overrun from a starting turn: linearise, solve, turn, until it stands."""
    centre, m = holes.mean(axis=0), len(holes)
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-10
    best = np.inf
    for _ in range(25):
        placed = rotate(holes - centre, turn)
        off = placed - (rods - centre)
        a, b = np.zeros((3 * m, 4)), np.zeros(3 * m)
        a[0::3, 0], b[0::3] = -1.0, clearance
        a[1::3, 2] = a[2::3, 3] = -1.0
        if turning:
            a[1::3, 1], a[2::3, 1] = placed[:, 1], -placed[:, 0]
        b[1::3], b[2::3] = off.T
        cones = [clarabel.SecondOrderConeT(3)] * m
        if limit is not None:
            edges = np.array([[0, 0, 1, 0], [0, 0, 0, 1], [0, 0, -1, 0], [0, 0, 0, -1]])
            a, b = np.vstack((a, edges)), np.r_[b, limit, limit]
            cones = [*cones, clarabel.NonnegativeConeT(4)]
        solver = clarabel.DefaultSolver(
            sparse.csc_matrix((4, 4)), np.array([1.0, 0, 0, 0]),
            sparse.csc_matrix(a), b, cones, settings,
        )  # fmt: skip
        x = np.array(solver.solve().x)
        step = x[1] if turning else 0.0
        turn += step
        best = min(best, interference_at(holes, rods, clearance, turn, x[2:]))
        if abs(step) < 1e-10:
            break
    return best


def with_cvxpy(holes, rods, clearance):
    """The same problem as a modeller writes it, linearised about no turn, twice."""
    centre, turn = holes.mean(axis=0), 0.0
    for _ in range(12):
        placed = rotate(holes - centre, turn)
        arm = np.column_stack((-placed[:, 1], placed[:, 0]))
        t, dturn, shift = cp.Variable(), cp.Variable(), cp.Variable(2)
        limits = [
            cp.norm(p + dturn * a + shift - r) <= t + c
            for p, a, r, c in zip(placed, arm, rods - centre, clearance, strict=True)
        ]
        cp.Problem(cp.Minimize(t), limits).solve(
            solver=cp.CLARABEL, tol_gap_abs=1e-10, tol_gap_rel=1e-10, tol_feas=1e-10
        )
        turn += float(dturn.value)
        if abs(dturn.value) < 1e-10:
            break
    return interference_at(holes, rods, clearance, turn, shift.value)


def test_four_rod_plates_agree_with_cvxpy_and_clarabel():
    rng = np.random.default_rng(11)
    rods = FOUR + rng.normal(0.0, 3.0, (6, 4, 2))
    clearance = rng.uniform(0.0, 4.0, (6, 4))
    fit = fit_plates(np.broadcast_to(FOUR, rods.shape), rods, clearance)
    for k in range(6):
        outside = with_cvxpy(FOUR, rods[k], clearance[k])
        assert fit.interference_mm[k] == pytest.approx(outside, abs=DEMAND_MM)
    assert fit.proven.all()
    assert (fit.gap_mm <= DEMAND_MM).all()


def families():
    rng = np.random.default_rng(12)

    def near(holes, sigma):
        return holes + rng.normal(0.0, sigma, holes.shape)

    line = np.column_stack((np.arange(5) * 70.0, np.zeros(5)))
    twelve = np.stack(
        (np.repeat([-75.0, 75.0], 6), np.tile(np.arange(6) * 76.0, 2)), axis=1
    )
    two_in_one = FOUR[[0, 0, 2, 3]]
    spot = np.zeros((3, 2))
    yield "four rods", FOUR, near(FOUR, 3.0), np.full(4, 2.4)
    yield "zero clearance", FOUR, near(FOUR, 2.0), np.zeros(4)
    yield "unequal clearance", FOUR, near(FOUR, 4.0), rng.uniform(-1.0, 20.0, 4)
    yield "two rods", FOUR[:2], near(FOUR[:2], 3.0), np.full(2, 1.0)
    yield "one rod", FOUR[:1], near(FOUR[:1], 9.0), np.full(1, 2.0)
    yield "in a line", line, near(line, 3.0), np.full(5, 2.0)
    yield "holes in one place", spot, near(spot, 3.0), np.full(3, 2.0)
    yield "two holes in one place", two_in_one, near(two_in_one, 2.0), np.full(4, 2.0)
    yield "twelve rods", twelve, near(twelve, 3.0), rng.uniform(1.0, 5.0, 12)
    yield "wide", FOUR, FOUR * 1.03, np.full(4, 2.0)
    yield "narrow", FOUR, FOUR * 0.97, np.full(4, 2.0)
    yield "an inch off", FOUR, near(FOUR, 25.0), np.full(4, 2.4)


@pytest.mark.parametrize(
    ("holes", "rods", "clearance"),
    [pytest.param(*rest, id=name) for name, *rest in families()],
)
def test_odd_patterns_agree_with_clarabel(holes, rods, clearance):
    fit = fit_plates(holes[None], rods[None], clearance[None])
    outside = with_clarabel(holes, rods, clearance, float(fit.rotation_rad[0]) + 0.01)
    assert fit.interference_mm[0] == pytest.approx(outside, abs=DEMAND_MM)
    assert fit.proven[0]


@pytest.mark.parametrize(
    ("holes", "rods", "clearance"),
    [pytest.param(*rest, id=name) for name, *rest in families()],
)
def test_no_rotation_of_a_fine_search_is_better(holes, rods, clearance):
    fit = fit_plates(holes[None], rods[None], clearance[None])
    coarse = np.linspace(-np.pi, np.pi, 120, endpoint=False)
    fine = fit.rotation_rad[0] + np.linspace(-0.02, 0.02, 21)
    for turn in np.concatenate((coarse, fine)):
        held = with_clarabel(holes, rods, clearance, turn, turning=False)
        assert held >= fit.interference_mm[0] - DEMAND_MM


def test_rods_exchanged_find_the_best_of_several_valleys():
    # Rods 1 and 2 exchanged, a hundred millimetres off: not one valley but several.
    rng = np.random.default_rng(13)
    rods = FOUR[[1, 0, 2, 3]] + rng.normal(0.0, 2.0, (5, 4, 2))
    clearance = np.full((5, 4), 2.4)
    fit = fit_plates(np.broadcast_to(FOUR, rods.shape), rods, clearance)
    assert fit.proven.all()
    starts = np.linspace(-np.pi, np.pi, 24, endpoint=False)
    for k in range(5):
        outside = min(with_clarabel(FOUR, rods[k], clearance[k], s) for s in starts)
        assert fit.interference_mm[k] == pytest.approx(outside, abs=DEMAND_MM)


@pytest.mark.parametrize("limit", [0.0, 0.5, 3.175])
def test_limited_shift_agrees_with_clarabel(limit):
    rng = np.random.default_rng(14)
    rods = FOUR + rng.normal(0.0, 3.0, (5, 4, 2)) + [5.0, -2.0]
    clearance = np.full((5, 4), 2.4)
    limits = np.full((5, 2), limit)
    fit = fit_plates(np.broadcast_to(FOUR, rods.shape), rods, clearance, None, limits)
    assert (np.abs(fit.shift_mm) <= limit).all()
    assert fit.proven.all()
    for k in range(5):
        start = float(fit.rotation_rad[k]) + 0.005
        outside = with_clarabel(FOUR, rods[k], clearance[k], start, limit=limits[k])
        assert fit.interference_mm[k] == pytest.approx(outside, abs=DEMAND_MM)


def test_holes_in_one_place_give_the_smallest_enclosing_circle():
    # Turning does nothing there: the answer is shapely's circle about the rods.
    rng = np.random.default_rng(15)
    for m in (2, 3, 5, 12):
        rods = rng.normal(0.0, 20.0, (m, 2))
        fit = fit_plates(np.zeros((1, m, 2)), rods[None], np.zeros((1, m)))
        circle = shapely.minimum_bounding_radius(shapely.MultiPoint(rods))
        assert fit.interference_mm[0] == pytest.approx(circle, abs=DEMAND_MM)


def test_pattern_set_rigidly_is_found_as_scikit_image_finds_it():
    # A rigid copy has one answer for every criterion, least squares included.
    rods = rotate(FOUR, 0.3) + np.array([12.0, -7.0])
    fit = fit_plates(FOUR[None], rods[None], np.full((1, 4), 1.5))
    outside = EuclideanTransform.from_estimate(FOUR, rods)
    assert fit.rotation_rad[0] == pytest.approx(outside.rotation, abs=1e-9)
    np.testing.assert_allclose(fit.shift_mm[0], outside.translation, atol=1e-7)
    assert fit.interference_mm[0] == pytest.approx(-1.5, abs=DEMAND_MM)


# ---- within the line tolerance and the turn of a column ------------------------------

LINE_MM, TURN_RAD = 3.175, np.radians(0.5)


def with_cvxpy_bounded(holes, rods, clearance, axis=None, turn=0.0):
    """Least overrun, or least longest slot, within the limits; None if infeasible.

    `axis` (m, 2) is the unit axis of each slot, zero for a round hole: a rod may then
    stand at any point p of its slot. Linearised to the true rotation again and again.
    """
    middle, at = holes.mean(axis=0), np.zeros(len(holes))
    unit = np.zeros_like(holes) if axis is None else np.asarray(axis, float)
    for _ in range(40):
        placed, along = rotate(holes - middle, turn), rotate(unit, turn)
        there = placed + at[:, None] * along
        arm = np.column_stack((-there[:, 1], there[:, 0]))
        level, step, shift = cp.Variable(), cp.Variable(), cp.Variable(2)
        p = cp.Variable(len(holes))
        limits = [cp.abs(shift) <= LINE_MM, cp.abs(turn + step) <= TURN_RAD]
        for i, rod in enumerate(rods - middle):
            gap = placed[i] + step * arm[i] + p[i] * along[i] + shift - rod
            room = clearance[i] + (level if axis is None else 0.0)
            limits.append(cp.norm(gap) <= room)
            open_ = unit[i].any()
            limits.append(cp.abs(p[i]) <= level if open_ else p[i] == 0)
        problem = cp.Problem(cp.Minimize(level), limits)
        problem.solve(
            solver=cp.CLARABEL, tol_gap_abs=1e-10, tol_gap_rel=1e-10, tol_feas=1e-10
        )
        if problem.status not in (cp.OPTIMAL, cp.OPTIMAL_INACCURATE):
            return None
        turn, at = turn + float(step.value), p.value
        if abs(step.value) < 1e-11:
            break
    return float(level.value)


def bounded_fit(rods, clearance, *, prove=True):
    holes = np.broadcast_to(FOUR, rods.shape)
    free = fit_plates(holes, rods, clearance)
    return fit_plates_within_bounds(
        free,
        holes,
        rods,
        clearance,
        None,
        shift_limit_mm=np.full((len(rods), 2), LINE_MM),
        rotation_limit_rad=np.full(len(rods), TURN_RAD),
        prove=prove,
    )


def test_bounded_plates_agree_with_cvxpy_and_clarabel():
    # Groups turned, moved and disturbed: at the turn, at the line, at both, at neither.
    rng = np.random.default_rng(21)
    turns = np.radians([0.0, 2.5, -2.5, 0.6, -4.0, 0.2, 3.0, -1.0, 90.0, 0.5])
    rods = np.stack([rotate(FOUR, turn) for turn in turns])
    rods += rng.normal(0.0, 1.5, rods.shape)
    rods += rng.uniform(-6.0, 6.0, (len(turns), 1, 2))
    clearance = rng.uniform(0.5, 4.0, rods.shape[:2])
    fit = bounded_fit(rods, clearance)
    assert (np.abs(fit.rotation_rad) <= TURN_RAD * (1 + 1e-12)).all()
    assert (np.abs(fit.shift_mm) <= LINE_MM).all()
    assert fit.proven.all()
    for k in range(len(turns)):
        outside = with_cvxpy_bounded(FOUR, rods[k], clearance[k])
        assert fit.interference_mm[k] == pytest.approx(outside, abs=DEMAND_MM)
        assert fit.interference_mm[k] == pytest.approx(
            interference_at(
                FOUR, rods[k], clearance[k], fit.rotation_rad[k], fit.shift_mm[k]
            ),
            abs=1e-9,
        )


def test_thousands_of_bounded_plates_are_the_same_with_and_without_the_proof():
    rng = np.random.default_rng(22)
    rods = FOUR + rng.normal(0.0, 2.5, (2000, 4, 2)) + rng.normal(0, 2, (2000, 1, 2))
    clearance = np.full((2000, 4), 2.4)
    proved = bounded_fit(rods, clearance)
    quick = bounded_fit(rods, clearance, prove=False)
    assert proved.proven.all()
    np.testing.assert_allclose(
        quick.interference_mm, proved.interference_mm, atol=DEMAND_MM
    )


@pytest.mark.parametrize("seed", range(4))
def test_the_slots_of_a_plate_are_the_shortest_cvxpy_finds(seed):
    rng = np.random.default_rng(30 + seed)
    rods = FOUR + rng.normal(0.0, 2.0, FOUR.shape)
    rods[seed] += [7.0, -3.0]
    clearance = np.full(4, 2.4)
    found = find_shortest_slots(
        FOUR, rods, clearance, np.full(2, LINE_MM), TURN_RAD, increment_mm=1e-3
    )
    axis = np.stack((found.axis == 0, found.axis == 1), axis=1)
    assert axis.any()
    # A rod counts as within its hole 2.5e-7 mm beyond the clearance; where a rod stands
    # beside its slot's axis, the length feels that several times over.
    outside = with_cvxpy_bounded(FOUR, rods, clearance + FITS_MM, axis)
    assert found.longest_mm == pytest.approx(outside, abs=2 * DEMAND_MM)
    # and with one hole fewer opened no axes of the rest let the plate on
    count = int(axis.sum())
    for opened in combinations(range(4), count - 1):
        for axes in product((0, 1), repeat=count - 1):
            fewer = np.zeros((4, 2))
            fewer[list(opened), list(axes)] = 1.0
            if not opened:
                assert with_cvxpy_bounded(FOUR, rods, clearance) > 0.0
            else:
                assert with_cvxpy_bounded(FOUR, rods, clearance, fewer) is None
