import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checks.engine.pattern import solve_patterns

PLAN = np.array([[-50.8, 228.6], [50.8, 228.6], [-50.8, 355.6], [50.8, 355.6]])
NONE = np.zeros(4, dtype=int)
EVERY = np.arange(4)


def gages(points, pairs, sigma=0.5):
    pairs = np.asarray(pairs).reshape(-1, 2)
    length = np.linalg.norm(points[pairs[:, 1]] - points[pairs[:, 0]], axis=1)
    return pairs[:, 0], pairs[:, 1], length, np.full(len(pairs), sigma)


def test_setbacks_and_offsets_alone_are_the_coordinates():
    found = solve_patterns(
        PLAN,
        NONE,
        setback=(EVERY, PLAN[:, 1] + 1.5, 0.5),
        offset=(EVERY, PLAN[:, 0] - 2.0, 0.8),
    )
    np.testing.assert_allclose(found.rods_mm, PLAN + np.array([-2.0, 1.5]))
    assert found.determined.all()
    np.testing.assert_allclose(found.sigma_mm, np.tile([0.8, 0.5], (4, 1)))
    np.testing.assert_allclose(found.setback_residuals_mm, 0.0, atol=1e-12)


def test_two_readings_of_one_coordinate_give_the_weighted_mean():
    # weights 1 and 1/4: (10·1 + 15/4) / 1.25 = 11; sigma = 1/sqrt(1.25)
    found = solve_patterns(
        [[0.0, 10.0]], [0], setback=([0, 0], [10.0, 15.0], [1.0, 2.0])
    )
    assert found.rods_mm[0, 1] == pytest.approx(11.0)
    assert found.sigma_mm[0, 1] == pytest.approx(1 / np.sqrt(1.25))
    np.testing.assert_allclose(found.setback_residuals_mm, [1.0, -4.0])
    assert found.determined.tolist() == [[False, True]]
    assert np.isnan(found.rods_mm[0, 0])


def test_without_readings_nothing_is_determined():
    found = solve_patterns(PLAN, NONE)
    assert not found.determined.any()
    assert np.isnan(found.rods_mm).all()
    assert not found.contradictory.any()


def test_a_reading_that_is_nan_was_not_read():
    found = solve_patterns(PLAN, NONE, setback=([0, 1], [228.6, np.nan], 0.5))
    assert found.determined[:, 1].tolist() == [True, False, False, False]
    assert np.isnan(found.setback_residuals_mm[1])


def test_a_gage_gives_the_coordinate_nobody_read():
    built = PLAN + np.array([[1.0, 2.0], [3.0, 2.0], [0.0, 1.0], [2.0, 0.0]])
    found = solve_patterns(
        PLAN,
        NONE,
        setback=(EVERY, built[:, 1], 0.5),
        offset=([0, 2], built[[0, 2], 0], 0.5),
        gage=gages(built, [[0, 1], [2, 3]]),
    )
    np.testing.assert_allclose(found.rods_mm, built, atol=1e-9)
    assert found.determined.all()
    np.testing.assert_allclose(found.gage_residuals_mm, 0.0, atol=1e-9)


def test_of_two_solutions_the_one_nearest_the_plan_is_taken():
    # rod 4 only by its gages from rods 1 and 2, which allow a place on either side
    built = PLAN + np.array([[4.0, -3.0], [4.0, -3.0], [4.0, -3.0], [1.0, 5.0]])
    found = solve_patterns(
        PLAN,
        NONE,
        setback=(EVERY[:3], built[:3, 1], 0.5),
        offset=(EVERY[:3], built[:3, 0], 0.5),
        gage=gages(built, [[0, 3], [1, 3]]),
    )
    np.testing.assert_allclose(found.rods_mm, built, atol=1e-8)
    assert found.rods_mm[3, 1] > 300.0  # the other place is as far below rods 1 and 2


def test_a_gage_along_a_coordinate_already_read_does_not_give_the_other():
    # rods 1 and 3 stand one behind the other: their gage says nothing of along
    found = solve_patterns(
        PLAN,
        NONE,
        setback=([0, 2], PLAN[[0, 2], 1], 0.5),
        offset=([0], PLAN[[0], 0], 0.5),
        gage=gages(PLAN, [[0, 2]]),
    )
    assert found.determined.tolist()[2] == [False, True]
    assert np.isnan(found.gage_residuals_mm[0])
    np.testing.assert_allclose(found.rods_mm[2, 1], 355.6)


def test_a_gage_between_rods_nobody_placed_is_left_out():
    found = solve_patterns(
        PLAN,
        NONE,
        setback=([0, 1], PLAN[:2, 1], 0.5),
        offset=([0, 1], PLAN[:2, 0], 0.5),
        gage=gages(PLAN, [[2, 3], [0, 2]]),
    )
    assert found.determined.tolist() == [[True, True]] * 2 + [[False, False]] * 2
    np.testing.assert_allclose(found.rods_mm[:2], PLAN[:2])
    assert np.isnan(found.gage_residuals_mm).all()


def test_gages_all_round_and_one_rod_leave_the_rotation_open():
    found = solve_patterns(
        PLAN,
        NONE,
        setback=([0], PLAN[:1, 1], 0.5),
        offset=([0], PLAN[:1, 0], 0.5),
        gage=gages(PLAN, [[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]]),
    )
    assert found.determined.tolist() == [[True, True]] + [[False, False]] * 3
    # one more setback, of the rod beside it, and the turn is known
    found = solve_patterns(
        PLAN,
        NONE,
        setback=([0, 1], PLAN[:2, 1], 0.5),
        offset=([0], PLAN[:1, 0], 0.5),
        gage=gages(PLAN, [[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]]),
    )
    assert found.determined.all()
    np.testing.assert_allclose(found.rods_mm, PLAN, atol=1e-8)


def test_an_impossible_gage_is_ignored_and_marked_contradictory():
    # rods 1 and 2 are 101.6 apart along; a gage shorter than the setbacks differ
    setbacks = PLAN[:, 1] + [0.0, 60.0, 0.0, 0.0]
    found = solve_patterns(
        PLAN,
        NONE,
        setback=(EVERY, setbacks, 0.01),
        offset=([0], PLAN[:1, 0], 0.01),
        gage=([0], [1], [20.0], [0.01]),
    )
    assert found.contradictory.all()
    np.testing.assert_allclose(found.rods_mm[0], PLAN[0])
    assert found.determined[1].tolist() == [False, True]
    assert np.isnan(found.gage_residuals_mm[0])


def test_a_contradiction_stays_in_its_own_pattern():
    plan = np.concatenate([PLAN, PLAN])
    setbacks = plan[:, 1] + [0.0, 60.0, 0, 0, 0, 0, 0, 0]
    found = solve_patterns(
        plan,
        [7] * 4 + [3] * 4,
        setback=(np.arange(8), setbacks, 0.01),
        offset=([0, 4], plan[[0, 4], 0], 0.01),
        gage=([0, 4], [1, 5], [20.0, 101.6], [0.01, 0.01]),
    )
    assert found.contradictory.tolist() == [True] * 4 + [False] * 4
    np.testing.assert_allclose(found.rods_mm[5], PLAN[1])


def test_a_wrong_gage_among_good_readings_shows_in_its_residual():
    gage = gages(PLAN, [[0, 1], [2, 3]])
    gage[2][1] += 25.4
    found = solve_patterns(
        PLAN,
        NONE,
        setback=(EVERY, PLAN[:, 1], 0.5),
        offset=(EVERY, PLAN[:, 0], 0.5),
        gage=gage,
    )
    assert not found.contradictory.any()
    assert np.argmax(np.abs(found.gage_residuals_mm)) == 1
    # equal weights on the gage and the two offsets it pulls at: a third each
    assert found.gage_residuals_mm[1] == pytest.approx(-25.4 / 3, rel=1e-3)


@settings(deadline=None)
@given(seed=st.integers(0, 10_000), far=st.floats(-1e5, 1e5))
def test_the_order_of_rods_and_where_they_lie_does_not_matter(seed, far):
    rng = np.random.default_rng(seed)
    plan = rng.uniform(-300, 300, (12, 2))
    where = np.repeat([2, 0, 1], 4)
    built = plan + rng.normal(scale=3, size=plan.shape)
    pairs = np.array([[0, 1], [2, 3], [4, 6], [5, 7], [8, 9]])
    kept = rng.permutation(12)[:9]
    one = solve_patterns(
        plan,
        where,
        setback=(np.arange(12), built[:, 1], 0.5),
        offset=(kept, built[kept, 0], 0.5),
        gage=gages(built, pairs),
    )
    order = rng.permutation(12)
    back = np.argsort(order)
    moved = plan + np.array([0.0, far])
    other = solve_patterns(
        moved[order],
        where[order],
        setback=(back[np.arange(12)], built[:, 1] + far, 0.5),
        offset=(back[kept], built[kept, 0], 0.5),
        gage=(back[pairs[:, 1]], back[pairs[:, 0]], *gages(built, pairs)[2:]),
    )
    np.testing.assert_array_equal(one.determined, other.determined[back])
    np.testing.assert_array_equal(one.contradictory, other.contradictory[back])
    np.testing.assert_allclose(
        one.rods_mm + np.array([0.0, far]),
        other.rods_mm[back],
        atol=1e-4,
        equal_nan=True,
    )


def test_patterns_of_different_size_do_not_touch_each_other():
    rng = np.random.default_rng(67)
    sizes = [1, 2, 4, 8, 4, 6]
    where = np.repeat(np.arange(len(sizes)), sizes)
    plan = np.concatenate([rng.uniform(-300, 300, (k, 2)) for k in sizes])
    built = plan + rng.normal(scale=3, size=plan.shape)
    rods = np.arange(len(plan))
    pairs = np.array(
        [[i, j] for i in rods for j in rods if i < j and where[i] == where[j]]
    )
    noise = rng.normal(scale=0.5, size=len(pairs))
    i, j, length, sigma = gages(built, pairs)
    together = solve_patterns(
        plan,
        where,
        setback=(rods, built[:, 1], 0.5),
        offset=(rods, built[:, 0], 0.7),
        gage=(i, j, length + noise, sigma),
    )
    for k in range(len(sizes)):
        mine = np.flatnonzero(where == k)
        here = where[i] == k
        alone = solve_patterns(
            plan[mine],
            where[mine],
            setback=(np.arange(len(mine)), built[mine, 1], 0.5),
            offset=(np.arange(len(mine)), built[mine, 0], 0.7),
            gage=(i[here] - mine[0], j[here] - mine[0], (length + noise)[here], 0.5),
        )
        np.testing.assert_allclose(together.rods_mm[mine], alone.rods_mm, atol=1e-8)
        np.testing.assert_allclose(together.sigma_mm[mine], alone.sigma_mm, rtol=1e-6)


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="not one of 0 to 3"):
        solve_patterns(PLAN, NONE, setback=([4], [1.0], [1.0]))
    with pytest.raises(ValueError, match="rod twice"):
        solve_patterns(PLAN, NONE, gage=([1], [1], [1.0], [1.0]))
    with pytest.raises(ValueError, match="two positions"):
        solve_patterns(PLAN, [0, 0, 1, 1], gage=([1], [2], [1.0], [1.0]))
    with pytest.raises(ValueError, match="not positive"):
        solve_patterns(PLAN, NONE, offset=([1], [1.0], [0.0]))


def test_no_rods_at_all():
    assert solve_patterns(np.empty((0, 2)), []).rods_mm.shape == (0, 2)


def test_inputs_are_untouched():
    plan, value = PLAN.copy(), PLAN[:, 1].copy()
    plan.flags.writeable = value.flags.writeable = False
    gage = gages(PLAN, [[0, 1]])
    for array in gage:
        array.flags.writeable = False
    solve_patterns(plan, NONE, setback=(EVERY, value, 0.5), gage=gage)


def two_rods(second, gage, first=(0.0, 0.0)):
    """Rod 1 fully read, rod 2 by its setback 100 and a gage. [mm]"""
    return solve_patterns(
        [[0.0, 0.0], [second, 100.0]],
        [0, 0],
        setback=([0, 1], [first[1], 100.0], 0.5),
        offset=([0], [first[0]], 0.5),
        gage=([0], [1], [gage], 0.5),
    )


def test_the_nearer_of_two_places_is_taken_though_the_group_moved():
    # rod 1 is 12 mm along; 6 mm either side of it rod 2 has its gage: at 6 and at 18,
    # planned at 5. The plan moved with rod 1 would be nearer to 18.
    found = two_rods(5.0, np.hypot(6.0, 100.0), first=(12.0, 0.0))
    np.testing.assert_allclose(found.rods_mm[1], [6.0, 100.0], atol=1e-9)
    np.testing.assert_allclose(found.other_mm[1], [18.0, 100.0], atol=1e-9)
    assert np.isnan(found.other_mm[0]).all()
    assert not found.contradictory.any()


@settings(deadline=None)
@given(
    first=st.floats(-30, 30),
    second=st.floats(-40, 40).filter(lambda x: abs(x) > 5),
    across=st.floats(1, 40),
)
def test_both_places_of_a_chord_are_those_of_its_circle(first, second, across):
    found = two_rods(second, np.hypot(across, 100.0), first=(first, 0.0))
    places = sorted(
        (first - across, first + across), key=lambda along: abs(along - second)
    )
    if abs(abs(places[0] - second) - abs(places[1] - second)) < 1e-3:
        return  # equally near: either
    assert not found.contradictory.any()
    assert found.rods_mm[1, 0] == pytest.approx(places[0], abs=1e-6)
    assert found.other_mm[1, 0] == pytest.approx(places[1], abs=1e-6)


def test_a_rod_by_two_gages_has_its_mirror_image_for_its_other_place():
    # rods 1 and 2 lie on the in axis, rod 3 was planned 20 mm beside it
    built = np.array([[0.0, 0.0], [0.0, 200.0], [-4.0, 90.0]])
    pairs = gages(built, [[0, 2], [1, 2]])
    found = solve_patterns(
        [[0.0, 0.0], [0.0, 200.0], [20.0, 90.0]],
        [0, 0, 0],
        setback=([0, 1], built[:2, 1], 0.5),
        offset=([0, 1], built[:2, 0], 0.5),
        gage=pairs,
    )
    np.testing.assert_allclose(found.rods_mm[2], [4.0, 90.0], atol=1e-6)
    np.testing.assert_allclose(found.other_mm[2], [-4.0, 90.0], atol=1e-6)


def test_a_place_where_two_rods_swap_sides_is_no_other_place():
    built = PLAN + np.array([[1.0, 2.0], [3.0, 2.0], [0.0, 1.0], [2.0, 0.0]])
    found = solve_patterns(
        PLAN,
        NONE,
        setback=(EVERY, built[:, 1], 0.5),
        offset=([0, 2], built[[0, 2], 0], 0.5),
        gage=gages(built, [[0, 1], [2, 3]]),
    )
    np.testing.assert_allclose(found.rods_mm, built, atol=1e-9)
    assert np.isnan(found.other_mm).all()


def test_a_further_reading_rules_the_other_place_out():
    built = np.array([[12.0, 0.0], [6.0, 100.0]])
    found = solve_patterns(
        [[0.0, 0.0], [5.0, 100.0]],
        [0, 0],
        setback=([0, 1], built[:, 1], 0.5),
        offset=([0, 1], built[:, 0], 0.5),
        gage=gages(built, [[0, 1]]),
    )
    np.testing.assert_allclose(found.rods_mm, built, atol=1e-9)
    assert np.isnan(found.other_mm).all()


def test_a_place_that_a_third_gage_contradicts_is_no_other_place():
    # three gages in a fan: only one of the mirror images of rod 3 fits the third
    built = np.array([[0.0, 0.0], [0.0, 200.0], [30.0, 90.0], [80.0, 90.0]])
    found = solve_patterns(
        built + np.array([[0, 0], [0, 0], [-2.0, 1.0], [0, 0]]),
        [0, 0, 0, 0],
        setback=([0, 1, 3], built[[0, 1, 3], 1], 0.5),
        offset=([0, 1, 3], built[[0, 1, 3], 0], 0.5),
        gage=gages(built, [[0, 2], [1, 2], [3, 2]]),
    )
    np.testing.assert_allclose(found.rods_mm, built, atol=1e-6)
    assert np.isnan(found.other_mm).all()


def test_other_patterns_do_not_change_the_places_of_one():
    alone = two_rods(5.0, np.hypot(6.0, 100.0), first=(12.0, 0.0))
    together = solve_patterns(
        [*PLAN, [0.0, 0.0], [5.0, 100.0]],
        [3, 3, 3, 3, 1, 1],
        setback=([0, 1, 2, 4, 5], [*PLAN[:3, 1], 0.0, 100.0], 0.5),
        offset=([0, 1, 2, 4], [*PLAN[:3, 0], 12.0], 0.5),
        gage=(
            [0, 2, 4],
            [3, 3, 5],
            [*gages(PLAN, [[0, 3], [2, 3]])[2], 100.17983829],
            0.5,
        ),
    )
    np.testing.assert_allclose(together.rods_mm[4:], alone.rods_mm, atol=1e-6)
    np.testing.assert_allclose(together.other_mm[4:], alone.other_mm, atol=1e-6)
    assert together.determined.all()
