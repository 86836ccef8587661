import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from checks.engine.errors import EngineError
from checks.engine.plate_fit.plate import (
    COUNTED,
    FREE,
    HELD,
    fit_plates,
    fit_plates_within_bounds,
    hole_needed_mm,
)

FOUR = np.array([[-51.0, -63.0], [51.0, -63.0], [51.0, 63.0], [-51.0, 63.0]])
CLOSE_MM = 1e-6  # what is promised of the optimum


def rotate(points, turn):
    c, s = np.cos(turn), np.sin(turn)
    return points @ np.array([[c, s], [-s, c]])


def fit_one(holes, rods, clearance, **kw):
    return fit_plates(holes[None], np.asarray(rods)[None], clearance[None], **kw)


def sample(seed, groups=6, m=4, sigma=3.0):
    rng = np.random.default_rng(seed)
    holes = np.repeat(FOUR[None, :m], groups, axis=0)
    return (
        holes,
        holes + rng.normal(0.0, sigma, holes.shape),
        rng.uniform(0.0, 4.0, holes.shape[:2]),
    )


def test_two_rods_too_far_apart_share_the_excess():
    # Worked by hand: holes 100 apart, rods 106 apart, so 3 mm at each; less 1 mm.
    holes = np.array([[0.0, 0.0], [100.0, 0.0]])
    fit = fit_one(holes, [[0.0, 0.0], [106.0, 0.0]], np.full(2, 1.0))
    assert fit.interference_mm[0] == pytest.approx(2.0, abs=CLOSE_MM)
    np.testing.assert_allclose(fit.shift_mm[0], [3.0, 0.0], atol=1e-4)
    np.testing.assert_allclose(fit.distance_mm[0], [3.0, 3.0], atol=CLOSE_MM)


def test_one_rod_of_four_pushed_out_along_the_diagonal():
    # A square of side 100, one rod out along the diagonal by d. By symmetry about
    # the diagonal there is no turn. The plate moves s along it: the two side rods are
    # then s off, the far one s and the near one d - s: so s = d / 2.
    holes = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]])
    rods = holes.copy()
    rods[2] += 4.0 / np.sqrt(2.0)
    fit = fit_one(holes, rods, np.full(4, 1.5))
    assert fit.interference_mm[0] == pytest.approx(0.5, abs=CLOSE_MM)
    assert fit.rotation_rad[0] == pytest.approx(0.0, abs=1e-6)


def test_rods_where_the_plan_has_them_leave_the_whole_clearance():
    fit = fit_one(FOUR, FOUR, np.full(4, 2.4))
    assert fit.interference_mm[0] == pytest.approx(-2.4, abs=CLOSE_MM)
    assert fit.proven[0]


def test_a_large_rotation_is_exact():
    fit = fit_one(FOUR, rotate(FOUR, 1.2), np.full(4, 1.0))
    assert fit.rotation_rad[0] == pytest.approx(1.2, abs=1e-8)
    assert fit.interference_mm[0] == pytest.approx(-1.0, abs=CLOSE_MM)


def test_interference_does_not_depend_on_the_axes():
    holes, rods, clearance = sample(1)
    plain = fit_plates(holes, rods, clearance)
    away = np.array([4.1e5, -2.7e5])
    moved = fit_plates(
        rotate(holes, 0.7) + away,
        rotate(rods, 0.7) + away,
        clearance,
    )
    mirror = fit_plates(holes * [1.0, -1.0], rods * [1.0, -1.0], clearance)
    np.testing.assert_allclose(
        moved.interference_mm, plain.interference_mm, atol=CLOSE_MM
    )
    np.testing.assert_allclose(
        mirror.interference_mm, plain.interference_mm, atol=CLOSE_MM
    )
    np.testing.assert_allclose(mirror.rotation_rad, -plain.rotation_rad, atol=1e-5)


def test_moving_all_rods_moves_the_plate_and_not_its_interference():
    holes, rods, clearance = sample(2)
    plain = fit_plates(holes, rods, clearance)
    moved = fit_plates(holes, rods + np.array([30.0, -12.0]), clearance)
    np.testing.assert_allclose(
        moved.interference_mm, plain.interference_mm, atol=CLOSE_MM
    )
    np.testing.assert_allclose(
        moved.shift_mm - plain.shift_mm, [[30.0, -12.0]] * 6, atol=1e-3
    )


def test_more_clearance_everywhere_reduces_the_interference_as_much():
    holes, rods, clearance = sample(3)
    plain = fit_plates(holes, rods, clearance)
    wider = fit_plates(holes, rods, clearance + 0.8)
    np.testing.assert_allclose(
        wider.interference_mm, plain.interference_mm - 0.8, atol=CLOSE_MM
    )


def test_masked_rods_are_not_looked_at():
    holes, rods, clearance = sample(4)
    mask = np.ones(clearance.shape, dtype=bool)
    mask[:, 3] = False
    rods[:, 3] = np.nan
    holes[:, 3] = 1e6
    clearance[:, 3] = np.nan
    masked = fit_plates(holes, rods, clearance, mask)
    three = fit_plates(holes[:, :3], rods[:, :3], clearance[:, :3])
    np.testing.assert_allclose(
        masked.interference_mm, three.interference_mm, atol=CLOSE_MM
    )
    assert np.isnan(masked.distance_mm[:, 3]).all()
    assert np.isfinite(masked.distance_mm[:, :3]).all()


def test_answer_is_the_distance_at_the_placement_given():
    holes, rods, clearance = sample(5)
    fit = fit_plates(holes, rods, clearance)
    for k in range(6):
        centre = holes[k].mean(axis=0)
        placed = (
            rotate(holes[k] - centre, fit.rotation_rad[k]) + centre + fit.shift_mm[k]
        )
        distance = np.hypot(*(placed - rods[k]).T)
        np.testing.assert_allclose(distance, fit.distance_mm[k], atol=1e-9)
        worst = (distance - clearance[k]).max()
        assert worst == pytest.approx(fit.interference_mm[k], abs=1e-9)


def test_plates_solved_together_are_as_solved_alone():
    holes, rods, clearance = sample(6)
    together = fit_plates(holes, rods, clearance)
    for k in range(6):
        alone = fit_one(holes[k], rods[k], clearance[k])
        assert alone.interference_mm[0] == pytest.approx(
            together.interference_mm[k], abs=CLOSE_MM
        )


def test_a_plate_that_may_not_shift_still_rotates():
    rods = rotate(FOUR, 0.02) + np.array([2.0, 0.0])
    fit = fit_one(FOUR, rods, np.full(4, 1.0), shift_limit_mm=np.zeros((1, 2)))
    np.testing.assert_array_equal(fit.shift_mm, np.zeros((1, 2)))
    assert fit.interference_mm[0] == pytest.approx(1.0, abs=1e-3)
    assert fit.rotation_rad[0] == pytest.approx(0.02, abs=1e-3)


def test_a_limit_that_does_not_bind_changes_nothing():
    holes, rods, clearance = sample(7)
    plain = fit_plates(holes, rods, clearance)
    wide = fit_plates(holes, rods, clearance, None, np.full((6, 2), 50.0))
    np.testing.assert_array_equal(wide.interference_mm, plain.interference_mm)


def test_hole_needed_is_what_makes_the_plate_just_fit():
    holes, rods, _ = sample(8)
    diameter = np.full(6, 23.8)
    clearance = np.repeat((diameter[:, None] - 19.05) / 2.0, 4, axis=1)
    fit = fit_plates(holes, rods, clearance)
    needed = hole_needed_mm(fit, diameter)
    again = fit_plates(
        holes, rods, np.repeat((needed[:, None] - 19.05) / 2.0, 4, axis=1)
    )
    np.testing.assert_allclose(again.interference_mm, 0.0, atol=CLOSE_MM)


def test_inputs_are_left_untouched():
    given_ = sample(9)
    before = [v.copy() for v in given_]
    fit_plates(*given_, np.ones((6, 4), dtype=bool), np.full((6, 2), 1.0))
    for now, then in zip(given_, before, strict=True):
        np.testing.assert_array_equal(now, then)


def test_no_plates_give_no_answers():
    fit = fit_plates(np.zeros((0, 4, 2)), np.zeros((0, 4, 2)), np.zeros((0, 4)))
    assert fit.interference_mm.shape == (0,)


def test_a_missing_rod_is_refused():
    rods = FOUR.copy()
    rods[1, 0] = np.nan
    with pytest.raises(EngineError, match="missing"):
        fit_one(FOUR, rods, np.full(4, 1.0))


def test_a_plate_without_rods_is_refused():
    with pytest.raises(EngineError, match="without rods"):
        fit_one(FOUR, FOUR, np.full(4, 1.0), mask=np.zeros((1, 4), dtype=bool))


def test_a_negative_shift_limit_is_refused():
    with pytest.raises(EngineError, match="limit"):
        fit_one(FOUR, FOUR, np.full(4, 1.0), shift_limit_mm=np.array([[1.0, -1.0]]))


coordinates = st.one_of(
    st.sampled_from([0.0, 0.0, 50.0, -50.0, 100.0]),
    st.floats(-200.0, 200.0, allow_subnormal=False).map(lambda v: round(v, 3)),
)


@settings(deadline=None, max_examples=60)
@given(data=st.data(), m=st.integers(1, 6), limited=st.booleans())
def test_any_pattern_at_all_has_a_proved_answer_no_sampled_placement_beats(
    data, m, limited
):
    holes = data.draw(arrays(np.float64, (m, 2), elements=coordinates))
    off = data.draw(
        arrays(
            np.float64, (m, 2), elements=st.floats(-8.0, 8.0).map(lambda v: round(v, 3))
        )
    )
    clearance = data.draw(
        arrays(np.float64, m, elements=st.sampled_from([0.0, 1.0, 2.4, 9.0]))
    )
    limit = np.full((1, 2), 2.0) if limited else None
    rods = holes + off
    fit = fit_one(holes, rods, clearance, shift_limit_mm=limit)
    assert fit.proven[0]
    rng = np.random.default_rng(0)
    centre = holes.mean(axis=0)
    turns = fit.rotation_rad[0] + np.concatenate(
        ([0.0], rng.normal(0, 1e-3, 200), rng.uniform(-np.pi, np.pi, 200))
    )
    shifts = fit.shift_mm[0] + rng.normal(0, 1.0, (401, 2)) * rng.choice(
        [1e-4, 1e-2, 1.0, 10.0], (401, 1)
    )
    if limited:
        shifts = np.clip(shifts, -2.0, 2.0)
    for turn, shift in zip(turns, shifts, strict=True):
        placed = rotate(holes - centre, turn) + centre + shift
        other = (np.hypot(*(placed - rods).T) - clearance).max()
        assert other >= fit.interference_mm[0] - CLOSE_MM


def several(seed, sigma=3.0, n=30):
    holes = np.repeat(FOUR[None], n, axis=0)
    rods = holes + np.random.default_rng(seed).normal(0.0, sigma, holes.shape)
    return holes, rods, np.full((n, 4), 2.0)


def test_a_free_rod_has_the_effect_of_no_rod():
    holes, rods, clearance = several(61)
    role = np.tile([COUNTED, COUNTED, FREE, COUNTED], (30, 1))
    free = fit_plates(holes, rods, clearance, role=role)
    without = fit_plates(holes, rods, clearance, role == COUNTED)
    np.testing.assert_allclose(free.interference_mm, without.interference_mm, atol=1e-7)


def test_held_rods_are_within_and_the_others_as_near_as_possible():
    # The same as opening the counted holes until the plate goes on.
    holes, rods, clearance = several(62, sigma=1.5)
    role = np.tile([HELD, HELD, COUNTED, COUNTED], (30, 1))
    fit = fit_plates(holes, rods, clearance, role=role)
    able = fit_plates(holes, rods, clearance, role == HELD).interference_mm < -1e-3
    assert able.sum() > 10
    assert (fit.distance_mm[able][:, :2] <= 2.0 + 1e-6).all()
    for extra, goes_on in ((1e-5, True), (-1e-5, False)):
        wider = clearance + (role == COUNTED) * (fit.interference_mm[:, None] + extra)
        again = fit_plates(holes[able], rods[able], wider[able])
        assert ((again.interference_mm <= 1e-6) == goes_on).mean() == 1.0
    assert fit.proven[able].all()


def test_held_rods_out_of_reach_give_infinite_interference():
    holes, rods, clearance = several(63)
    rods[:, 0] += 50.0
    role = np.tile([HELD, HELD, COUNTED, COUNTED], (30, 1))
    fit = fit_plates(holes, rods, clearance, role=role)
    assert np.isinf(fit.interference_mm).all()
    assert not fit.proven.any()


def test_a_threshold_is_decided_as_the_whole_proof_decides_it():
    holes, rods, clearance = several(64)
    limit = np.full((30, 2), 1.0)
    whole = fit_plates(holes, rods, clearance, None, limit)
    level = float(np.median(whole.interference_mm)) + 0.01
    fit = fit_plates(holes, rods, clearance, None, limit, threshold_mm=level)
    np.testing.assert_array_equal(
        fit.interference_mm > level, whole.interference_mm > level
    )
    assert fit.proven.all()


def test_a_limited_fit_from_the_free_one_equals_a_fit_from_scratch():
    holes, rods, clearance = several(65)
    limit = np.full((30, 2), 0.5)
    free = fit_plates(holes, rods, clearance)
    turn = np.full(30, 0.01)
    held = fit_plates_within_bounds(
        free,
        holes,
        rods,
        clearance,
        None,
        shift_limit_mm=limit,
        rotation_limit_rad=turn,
    )
    whole = fit_plates(holes, rods, clearance, None, limit, turn)
    np.testing.assert_allclose(held.interference_mm, whole.interference_mm, atol=1e-6)
    assert (np.abs(held.shift_mm) <= 0.5).all()
    assert (np.abs(held.rotation_rad) <= 0.01).all()
    assert held.proven.all()


def test_plates_without_a_counted_rod_are_refused():
    holes, rods, clearance = several(66)
    with pytest.raises(EngineError, match="counts"):
        fit_plates(holes, rods, clearance, role=np.full((30, 4), FREE))
