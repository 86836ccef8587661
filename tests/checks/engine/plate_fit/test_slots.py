from itertools import combinations, product

import numpy as np
import pytest

from checks.engine.constants import INCH_MM
from checks.engine.errors import EngineError
from checks.engine.plate_fit.slots import (
    edge_after_reaming_mm,
    edge_after_slotting_mm,
    find_shortest_slots,
    find_shortest_slots_many,
    order_slots,
    select_slot_washer,
    slots_keep_edge,
)

FOUR = np.array([[-51.0, -63.0], [51.0, -63.0], [51.0, 63.0], [-51.0, 63.0]])
LIMIT, TURN = np.full(2, 3.175), np.radians(0.5)
ALONG, IN, ROUND = 0, 1, -1


def slots_of(rods, clearance=2.4, holes=FOUR, limit=LIMIT, turn=TURN):
    return find_shortest_slots(holes, rods, np.full(len(holes), clearance), limit, turn)


def split_gap(holes, rods, turn, shift):
    """Where the rods stand in the plate's own axes, from their holes, (m, 2)."""
    middle = holes.mean(axis=0)
    c, s = np.cos(turn), np.sin(turn)
    return (rods - middle - shift) @ np.array([[c, -s], [s, c]]) - (holes - middle)


def test_one_rod_out_along_a_side_by_hand():
    # Two holes 100 apart, clearance 1; the second rod 10 too far. The plate moves 1
    # towards it; the first hole gives 1, the second 1 of its own: 10 - 1 - 1 remain.
    holes = np.array([[0.0, 0.0], [100.0, 0.0]])
    rods = np.array([[0.0, 0.0], [110.0, 0.0]])
    found = slots_of(rods, 1.0, holes)
    assert found.is_opened.sum() == 1
    assert found.longest_mm == pytest.approx(8.0, abs=1e-6)
    k = int(found.is_opened.argmax())
    assert found.axis[k] == ALONG
    assert np.cos(found.direction_rad[k]) == pytest.approx(1.0 if k else -1.0)
    assert found.proven


def test_plate_that_fits_needs_no_slot():
    found = slots_of(FOUR + 0.5)
    assert not found.is_opened.any()
    assert found.longest_mm == 0.0


def test_four_slots_of_an_eighth_along_one_axis_are_found():
    # Two pairs pulled apart along: 6.5 mm each way, the holes give 2.4.
    rods = FOUR + np.array([[-6.5, 0.0], [6.5, 0.0], [-6.5, 0.0], [6.5, 0.0]])
    found = slots_of(rods)
    assert found.axis.tolist() == [ALONG] * 4
    np.testing.assert_allclose(found.extension_mm, 6.5 - 2.4, atol=1e-5)
    np.testing.assert_allclose(
        np.cos(found.direction_rad), [-1.0, 1.0, -1.0, 1.0], atol=1e-12
    )


def test_rods_out_along_both_axes_take_slots_along_either():
    rods = FOUR.copy()
    rods[0, 0] -= 12.0
    rods[2, 1] += 12.0
    found = slots_of(rods)
    assert found.axis.tolist() == [ALONG, ROUND, IN, ROUND]


@pytest.mark.parametrize("seed", range(3))
def test_no_fewer_holes_and_no_shorter_slot_would_do(seed):
    # Brute force: every set of holes and axes, a grid of placements that closes in.
    rng = np.random.default_rng(seed)
    rods = FOUR + rng.normal(0.0, 3.0, FOUR.shape)
    found = slots_of(rods)
    count, longest = brute_force(rods)
    assert found.is_opened.sum() == count
    if count:
        increment = 25.4 / 16.0
        # Lengths that order alike count as equal.
        assert np.ceil(found.longest_mm / increment) <= np.ceil(longest / increment)
        assert found.longest_mm >= longest - 1e-3 - increment


def brute_force(rods, clearance=2.4):
    """Fewest holes and least longest extension, to the accuracy of a grid."""
    limits = np.array([TURN, *LIMIT])
    steps = np.stack(np.meshgrid(*[np.linspace(-1, 1, 9)] * 3), axis=-1).reshape(-1, 3)
    for count in range(5):
        best = np.inf
        for opened in combinations(range(4), count):
            for axes in product((ALONG, IN), repeat=count):
                axis = np.full(4, ROUND)
                axis[list(opened)] = axes
                here, span, value = np.zeros(3), limits.copy(), np.inf
                for _ in range(60):
                    tried = np.clip(here + span * steps, -limits, limits)
                    cost = penalty(rods, axis, tried, clearance)
                    if cost.min() < value:
                        value, here = cost.min(), tried[cost.argmin()]
                    span *= 0.8
                if value < 1e3:
                    best = min(best, value)
        if np.isfinite(best):
            return count, max(best, 0.0)
    return 5, np.inf


def penalty(rods, axis, tried, clearance):
    """Longest extension at placements (n, 3); far more than any where a rod is out."""
    c, s = np.cos(tried[:, :1]), np.sin(tried[:, :1])
    x, y = rods[:, 0] - tried[:, 1:2], rods[:, 1] - tried[:, 2:]
    gap = np.stack((c * x + s * y - FOUR[:, 0], c * y - s * x - FOUR[:, 1]), axis=-1)
    on = np.take_along_axis(gap, np.maximum(axis, 0)[None, :, None], axis=2)[..., 0]
    off = np.take_along_axis(gap, 1 - np.maximum(axis, 0)[None, :, None], axis=2)[
        ..., 0
    ]
    beside = np.where(axis == ROUND, np.hypot(gap[..., 0], gap[..., 1]), np.abs(off))
    out = np.maximum(beside - clearance, 0.0).max(axis=1)
    room = np.sqrt(np.maximum(clearance**2 - off**2, 0.0))
    extension = np.where(axis == ROUND, 0.0, np.maximum(np.abs(on) - room, 0.0))
    return np.where(out > 1e-4, 1e3 + 1e3 * out, extension.max(axis=1))


def test_every_rod_is_in_its_hole_or_slot_where_the_plate_is_put():
    rng = np.random.default_rng(9)
    for _ in range(20):
        rods = FOUR + rng.normal(0.0, 3.0, FOUR.shape)
        found = slots_of(rods)
        if not found.is_opened.any():
            continue
        assert abs(found.rotation_rad) <= TURN + 1e-12
        assert (np.abs(found.shift_mm) <= LIMIT + 1e-12).all()
        gap = split_gap(FOUR, rods, found.rotation_rad, found.shift_mm)
        unit = np.stack((np.cos(found.direction_rad), np.sin(found.direction_rad)), 1)
        reach = np.clip((gap * unit).sum(axis=1), 0.0, found.extension_mm)
        left = np.hypot(*(gap - reach[:, None] * unit).T)
        assert (left <= 2.4 + 1e-6).all()
        assert (found.extension_mm[~found.is_opened] == 0.0).all()


def test_slots_change_axes_with_the_plate():
    rng = np.random.default_rng(10)
    rods = FOUR + rng.normal(0.0, 3.0, FOUR.shape)
    plain = slots_of(rods)
    other = slots_of(rods[:, ::-1] * [-1.0, 1.0], holes=FOUR[:, ::-1] * [-1.0, 1.0])
    swapped = np.where(plain.axis == ROUND, ROUND, 1 - plain.axis)
    np.testing.assert_array_equal(other.axis, swapped)
    assert other.longest_mm == pytest.approx(plain.longest_mm, abs=1e-5)


def test_tighter_limits_ask_for_no_less():
    rng = np.random.default_rng(11)
    rods = FOUR + rng.normal(0.0, 2.5, FOUR.shape) + 2.0
    wide = slots_of(rods)
    near = slots_of(rods, limit=np.full(2, 1.0), turn=TURN / 4.0)
    assert (np.abs(near.shift_mm) <= 1.0).all()
    assert abs(near.rotation_rad) <= TURN / 4.0 + 1e-12
    assert (near.is_opened.sum(), near.longest_mm) >= (
        wide.is_opened.sum(),
        wide.longest_mm - 25.4 / 16.0,
    )


def test_more_holes_than_are_enumerated_are_slotted_along_one_axis_and_not_proven():
    holes = np.stack((np.repeat([-80.0, 80.0], 7), np.tile(np.arange(7) * 80.0, 2)), 1)
    rods = holes.copy()
    rods[3, 0] += 9.0
    found = slots_of(rods, 2.0, holes)
    assert 3 in np.flatnonzero(found.is_opened)
    assert set(found.axis[found.is_opened].tolist()) == {ALONG}
    assert not found.proven


def test_many_plates_padded_are_solved_as_one_by_one():
    rng = np.random.default_rng(13)
    rods = FOUR + rng.normal(0.0, 3.0, (8, 4, 2))
    wide = np.full((8, 6, 2), np.nan)
    wide[:, :4] = rods
    holes = np.full((8, 6, 2), np.nan)
    holes[:, :4] = FOUR
    mask = np.tile(np.arange(6) < 4, (8, 1))
    padded = find_shortest_slots_many(
        holes,
        wide,
        np.where(mask, 2.4, np.nan),
        mask,
        shift_limit_mm=np.tile(LIMIT, (8, 1)),
        rotation_limit_rad=np.full(8, TURN),
    )
    for i in range(8):
        one = slots_of(rods[i])
        np.testing.assert_array_equal(padded.axis[i, :4], one.axis)
        assert not padded.is_opened[i, 4:].any()
        assert padded.longest_mm[i] == pytest.approx(one.longest_mm, abs=1e-6)


def test_no_plates_have_no_slots():
    none = np.zeros((0, 4, 2))
    found = find_shortest_slots_many(
        none,
        none,
        np.zeros((0, 4)),
        shift_limit_mm=np.zeros((0, 2)),
        rotation_limit_rad=np.zeros(0),
    )
    assert found.longest_mm.shape == (0,)


def test_inputs_are_left_untouched():
    holes, rods, clearance = FOUR.copy(), FOUR + 4.0, np.full(4, 1.0)
    before = rods.copy()
    find_shortest_slots(holes, rods, clearance, LIMIT, TURN)
    np.testing.assert_array_equal(holes, FOUR)
    np.testing.assert_array_equal(rods, before)


def test_a_plate_without_rods_is_refused():
    with pytest.raises(EngineError):
        slots_of(np.zeros((0, 2)), holes=np.zeros((0, 2)))


def test_an_ordered_slot_has_clearance_at_both_ends_and_is_rounded_up():
    # 15/16 in hole, 27/32 in of need: 15/16 + 27/32 + 2/16 = 1 29/32, so 1 15/16 in
    hole = np.full(2, 15.0 / 16.0 * INCH_MM)
    ordered = order_slots(hole, np.array([27.0 / 32.0 * INCH_MM, 0.0]), "imperial")
    assert ordered.length == pytest.approx([(1 + 15 / 16) * INCH_MM, hole[1]])
    assert ordered.behind == pytest.approx([INCH_MM / 16.0, 0.0])
    assert ordered.ahead == pytest.approx([15.0 / 16.0 * INCH_MM, 0.0])
    metric = order_slots(np.array([26.0]), np.array([10.2]), "metric")
    assert metric.length == pytest.approx([40.0])  # 26 + 10.2 + 3.175 = 39.375


def test_only_the_outward_part_of_a_slot_comes_off_the_edge():
    extension = np.array([6.0, 6.0, 6.0, 0.0])
    direction = np.array([np.pi, 0.0, np.pi / 6, 0.0])
    left = edge_after_slotting_mm(FOUR, extension, direction, 32.0)
    # out to the left; out to the right; 30° up and right: 6 cos 30° off; not opened
    np.testing.assert_allclose(left, [26.0, 26.0, 32.0 - 6 * np.cos(np.pi / 6), 32.0])


def test_the_clearance_behind_a_slot_comes_off_the_edge_there():
    left = edge_after_slotting_mm(
        FOUR, np.full(4, 6.0), np.zeros(4), 32.0, np.full(4, 1.5)
    )
    np.testing.assert_allclose(left, [30.5, 26.0, 26.0, 30.5])


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
    washer = select_slot_washer(34.0, 19.05)
    assert washer.size_mm >= 2 * 34.0 - 19.05
