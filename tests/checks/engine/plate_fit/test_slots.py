from itertools import combinations

import numpy as np
import pytest
from scipy.optimize import minimize

from checks.engine.constants import INCH_MM
from checks.engine.errors import EngineError
from checks.engine.plate_fit.slots import (
    edge_after_reaming_mm,
    edge_after_slotting_mm,
    find_shortest_slots,
    find_shortest_slots_many,
    select_slot_washer,
    slots_keep_edge,
)

FOUR = np.array([[-51.0, -63.0], [51.0, -63.0], [51.0, 63.0], [-51.0, 63.0]])
CLOSE_MM = 1e-5  # the longest extension; twice what halving leaves


def rotate(points, turn):
    c, s = np.cos(turn), np.sin(turn)
    return points @ np.array([[c, s], [-s, c]])


def distances(holes, rods, turn, shift):
    centre = holes.mean(axis=0)
    return np.hypot(*(rotate(holes - centre, turn) + centre + shift - rods).T)


def test_one_rod_out_along_a_side_by_hand():
    # Two holes 100 apart, clearance 1; the second rod 10 too far. Opening the second:
    # the first rod gives 1, the second's hole 1 of its own: 10 - 1 - 1 = 8 remain.
    holes = np.array([[0.0, 0.0], [100.0, 0.0]])
    rods = np.array([[0.0, 0.0], [110.0, 0.0]])
    found = find_shortest_slots(holes, rods, np.full(2, 1.0))
    assert found.opened.sum() == 1
    assert found.longest_mm == pytest.approx(8.0, abs=CLOSE_MM)
    k = int(found.opened.argmax())
    towards = 0.0 if k == 1 else np.pi
    assert np.cos(found.direction_rad[k] - towards) == pytest.approx(1.0, abs=1e-6)
    assert found.proven


def test_plate_that_fits_needs_no_slot():
    found = find_shortest_slots(FOUR, FOUR + 0.5, np.full(4, 1.0))
    assert not found.opened.any()
    assert found.longest_mm == 0.0


@pytest.mark.parametrize("seed", range(4))
def test_no_fewer_holes_and_no_shorter_slot_would_do(seed):
    # Brute force: every set of holes, a general minimiser from several starts.
    rng = np.random.default_rng(seed)
    rods = FOUR + rng.normal(0.0, 3.0, FOUR.shape)
    clearance = np.full(4, 2.0)
    found = find_shortest_slots(FOUR, rods, clearance)
    best = (5, np.inf)
    for count in range(5):
        for opened in combinations(range(4), count):
            longest = least_longest(rods, clearance, list(opened))
            if longest is not None:
                best = min(best, (count, longest))
        if best[0] == count:
            break
    assert int(found.opened.sum()) == best[0]
    assert found.longest_mm <= best[1] + 1e-4  # the general minimiser's own accuracy


def least_longest(rods, clearance, opened):
    """Least longest extension with these holes open, None if it does not go on."""
    shut = [i for i in range(4) if i not in opened]

    def excess(x):
        return distances(FOUR, rods, x[0] / 80.0, x[1:3]) - clearance

    limits = [{"type": "ineq", "fun": lambda x: -excess(x)[shut]}] if shut else []
    if opened:
        limits.append({"type": "ineq", "fun": lambda x: x[3] - excess(x)[opened]})
    found = None
    for start in (0.0, 1.0, -1.0):
        x0 = np.array([start, 0.3, -0.2, 10.0])
        result = minimize(
            lambda x: x[3], x0, method="SLSQP", constraints=limits,
            bounds=[(None, None)] * 3 + [(0.0, None)], options={"ftol": 1e-12},
        )  # fmt: skip
        shut_ok = not shut or excess(result.x)[shut].max() <= 1e-6
        if result.success and shut_ok:
            value = float(result.x[3]) if opened else 0.0
            found = value if found is None else min(found, value)
    return found


def test_every_rod_is_in_its_hole_or_slot_where_the_plate_is_put():
    rng = np.random.default_rng(9)
    rods = FOUR + rng.normal(0.0, 5.0, FOUR.shape)
    found = find_shortest_slots(FOUR, rods, np.full(4, 2.0))
    away = distances(FOUR, rods, found.rotation_rad, found.shift_mm)
    assert (away <= 2.0 + found.extension_mm + 1e-6).all()
    assert (found.extension_mm[~found.opened] == 0.0).all()


def test_slots_rotate_with_the_axes():
    rng = np.random.default_rng(10)
    rods = FOUR + rng.normal(0.0, 4.0, FOUR.shape)
    plain = find_shortest_slots(FOUR, rods, np.full(4, 2.0))
    other = find_shortest_slots(rotate(FOUR, 0.5), rotate(rods, 0.5), np.full(4, 2.0))
    np.testing.assert_array_equal(plain.opened, other.opened)
    assert other.longest_mm == pytest.approx(plain.longest_mm, abs=CLOSE_MM)


def test_limited_shift_asks_for_no_less():
    rng = np.random.default_rng(11)
    rods = FOUR + rng.normal(0.0, 4.0, FOUR.shape) + 3.0
    free = find_shortest_slots(FOUR, rods, np.full(4, 2.0))
    held = find_shortest_slots(FOUR, rods, np.full(4, 2.0), np.full(2, 1.0))
    assert (np.abs(held.shift_mm) <= 1.0).all()
    assert (held.opened.sum(), held.longest_mm) >= (
        free.opened.sum(),
        free.longest_mm - CLOSE_MM,
    )


def test_more_holes_than_are_enumerated_are_opened_greedily_and_not_proven():
    holes = np.stack((np.repeat([-80.0, 80.0], 7), np.tile(np.arange(7) * 80.0, 2)), 1)
    rods = holes.copy()
    rods[3, 0] += 12.0
    found = find_shortest_slots(holes, rods, np.full(14, 2.0))
    np.testing.assert_array_equal(np.flatnonzero(found.opened), [3])
    assert not found.proven


def test_many_plates_are_solved_as_one_by_one():
    rng = np.random.default_rng(12)
    rods = FOUR + rng.normal(0.0, 3.0, (12, 4, 2))
    holes, clearance = np.broadcast_to(FOUR, rods.shape), np.full((12, 4), 2.0)
    many = find_shortest_slots_many(holes, rods, clearance)
    for i in range(12):
        one = find_shortest_slots(FOUR, rods[i], clearance[i])
        np.testing.assert_array_equal(many.opened[i], one.opened)
        assert many.longest_mm[i] == pytest.approx(one.longest_mm, abs=1e-6)


def test_padded_rods_change_nothing():
    rng = np.random.default_rng(13)
    rods = FOUR + rng.normal(0.0, 4.0, (5, 4, 2))
    wide = np.full((5, 6, 2), np.nan)
    wide[:, :4] = rods
    holes = np.full((5, 6, 2), np.nan)
    holes[:, :4] = FOUR
    mask = np.tile(np.arange(6) < 4, (5, 1))
    limit = np.full((5, 2), 2.0)
    clearance = np.where(mask, 2.0, np.nan)
    padded = find_shortest_slots_many(holes, wide, clearance, mask, limit, prove=False)
    for i in range(5):
        one = find_shortest_slots(FOUR, rods[i], np.full(4, 2.0), limit[i])
        np.testing.assert_array_equal(padded.opened[i, :4], one.opened)
        assert not padded.opened[i, 4:].any()
        assert padded.longest_mm[i] == pytest.approx(one.longest_mm, abs=1e-6)


@pytest.mark.parametrize("limit", [None, 3.175])
def test_without_the_search_of_every_rotation_the_slots_are_the_same(limit):
    # Rods of one plate one to three millimetres out, all positions as in a building.
    rng = np.random.default_rng(14)
    rods = FOUR + rng.normal(0.0, 2.5, (40, 4, 2))
    holes, clearance = np.broadcast_to(FOUR, rods.shape), np.full((40, 4), 2.4)
    held = None if limit is None else np.full((40, 2), limit)
    quick = find_shortest_slots_many(holes, rods, clearance, None, held, prove=False)
    whole = find_shortest_slots_many(holes, rods, clearance, None, held)
    np.testing.assert_array_equal(quick.opened, whole.opened)
    np.testing.assert_allclose(quick.longest_mm, whole.longest_mm, atol=1e-6)
    assert whole.proven.mean() > 0.9
    assert not quick.proven[quick.opened.any(axis=1)].any()


def test_no_plates_have_no_slots():
    none = np.zeros((0, 4, 2))
    found = find_shortest_slots_many(none, none, np.zeros((0, 4)))
    assert found.longest_mm.shape == (0,)


def test_inputs_are_left_untouched():
    holes, rods, clearance = FOUR.copy(), FOUR + 4.0, np.full(4, 1.0)
    before = rods.copy()
    find_shortest_slots(holes, rods, clearance)
    np.testing.assert_array_equal(holes, FOUR)
    np.testing.assert_array_equal(rods, before)


def test_a_plate_without_rods_is_refused():
    with pytest.raises(EngineError):
        find_shortest_slots(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0))


def test_only_the_outward_part_of_a_slot_comes_off_the_edge():
    extension = np.array([6.0, 6.0, 6.0, 0.0])
    direction = np.array([np.pi, 0.0, np.pi / 6, 0.0])
    left = edge_after_slotting_mm(FOUR, extension, direction, 32.0)
    # out to the left; out to the right; 30° up and right: 6 cos 30° off; not opened
    np.testing.assert_allclose(left, [26.0, 26.0, 32.0 - 6 * np.cos(np.pi / 6), 32.0])


def test_slots_inward_leave_the_whole_edge():
    holes = np.array([[0.0, 0.0], [100.0, 0.0]])
    left = edge_after_slotting_mm(holes, np.full(2, 5.0), np.array([0.0, np.pi]), 30.0)
    np.testing.assert_allclose(left, [30.0, 30.0])


def test_holes_within_the_pattern_have_no_edge():
    holes = np.array([[x, y] for x in (0.0, 80.0, 160.0) for y in (0.0, 80.0, 160.0)])
    left = edge_after_slotting_mm(holes, np.full(9, 10.0), np.zeros(9), 30.0)
    assert np.isinf(left[4])
    assert left[7] == pytest.approx(20.0)


def test_the_edge_distance_is_that_of_the_rods_table_row():
    rod = 0.75 * INCH_MM  # AISC 360-16 Table J3.4, secondary: 1 in
    assert slots_keep_edge(np.array([INCH_MM]), np.array([rod]))
    assert not slots_keep_edge(np.array([INCH_MM - 0.001]), np.array([rod]))
    assert not slots_keep_edge(np.array([np.nan]), np.array([rod]))


def test_reaming_takes_half_of_its_growth_off_the_edge():
    assert edge_after_reaming_mm(24.0, 30.0, 32.0) == pytest.approx(29.0)
    rods = np.full(4, 0.75 * INCH_MM)
    for edge, kept in ((28.4, True), (28.3, False)):
        left = np.full(4, edge_after_reaming_mm(24.0, 30.0, edge))
        assert slots_keep_edge(left, rods) == kept


def test_slot_takes_a_washer_that_covers_its_whole_length():
    washer = select_slot_washer(24.0, 10.0, 19.05)
    assert washer.size_mm >= 2 * 34.0 - 19.05
