import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.next_reading import (
    FLAT_PRIOR_MM,
    ChosenReading,
    LengthTies,
    OpenConclusions,
    PossibleReadings,
    choose_next_readings,
    wrong_probability,
    wrong_probability_after,
)


def build_case(
    seed: int, n_conclusions: int = 7, n_readings: int = 12, n_errors: int = 9
) -> tuple[OpenConclusions, PossibleReadings]:
    """Build conclusions and readings whose errors are mixed at random."""
    rng = np.random.default_rng(seed)
    return (
        OpenConclusions(
            margin=rng.normal(0.0, 2.0, n_conclusions),
            loadings=rng.normal(0.0, 1.0, (n_conclusions, n_errors)),
            weight=rng.uniform(0.5, 2.0, n_conclusions),
        ),
        PossibleReadings(
            loadings=rng.normal(0.0, 1.0, (n_readings, n_errors)),
            own_variance=rng.uniform(0.2, 2.0, n_readings),
            cost=rng.uniform(1.0, 1.5, n_readings),
        ),
    )


def choose(
    conclusions: OpenConclusions, readings: PossibleReadings, count: int = 5
) -> list[ChosenReading]:
    return choose_next_readings(conclusions, readings, count=count, least_gain=1e-9)


def compute_chances(
    conclusions: OpenConclusions, readings: PossibleReadings, taken: list[int]
) -> np.ndarray:
    """Compute the chances after some readings from the full covariance matrix."""
    state = np.eye(conclusions.loadings.shape[1])
    for each in taken:
        row = readings.loadings[each]
        column = state @ row
        total = row @ column + readings.own_variance[each]
        state = state - np.outer(column, column) / total
    u = np.sqrt(
        np.einsum("ij,jk,ik->i", conclusions.loadings, state, conclusions.loadings)
    )
    return wrong_probability(conclusions.margin, u)


def test_a_second_reading_as_good_takes_p_to_p_times_one_less_p():
    # d**2 = u**2 / 2: T(h, 1) = Phi(h) Phi(-h) / 2, Owen 1956
    now = wrong_probability([0.0, 0.5, 1.0, 2.0], 1.0)
    after = wrong_probability_after([0.0, 0.5, 1.0, 2.0], 1.0, np.sqrt(0.5))
    np.testing.assert_allclose(after, now * (1.0 - now), atol=1e-15)


def test_a_reading_that_removes_nothing_changes_nothing_and_a_perfect_one_settles_it():
    now = wrong_probability([0.3, -0.8], [0.7, 0.9])
    np.testing.assert_allclose(
        wrong_probability_after([0.3, -0.8], [0.7, 0.9], 0.0), now, atol=1e-15
    )
    assert wrong_probability_after([0.3, -0.8], [0.7, 0.9], [0.7, 0.9]).max() == 0.0


def test_what_is_known_exactly_is_never_wrong():
    assert wrong_probability([1.0, 0.0], 0.0).tolist() == [0.0, 0.0]
    assert wrong_probability_after([1.0], 0.0, 0.0).tolist() == [0.0]


@given(
    st.floats(0.0, 20.0),
    st.floats(1e-3, 50.0),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1.0),
)
def test_more_removed_never_raises_the_chance(margin, u, share, other):
    less, more = sorted((share, other))
    now = float(wrong_probability(margin, u))
    after = wrong_probability_after(margin, u, u * np.array([less, more]))
    assert now + 1e-14 >= after[0] >= after[1] - 1e-14 >= -1e-14


@pytest.mark.parametrize("seed", range(5))
def test_the_update_gives_the_same_list_as_the_full_covariance(seed: int):
    conclusions, readings = build_case(seed)
    chosen = choose(conclusions, readings)
    for count, each in enumerate(chosen):
        taken = [before.reading for before in chosen[:count]]
        now = compute_chances(conclusions, readings, taken)
        assert each.before == pytest.approx(now[each.conclusion], abs=1e-12)
        gains = []
        for other in range(len(readings.cost)):
            left = OpenConclusions(
                margin=conclusions.margin,
                loadings=_condition(conclusions, readings, taken)[0],
                weight=conclusions.weight,
            )
            rest = PossibleReadings(
                loadings=_condition(conclusions, readings, taken)[1],
                own_variance=readings.own_variance,
                cost=readings.cost,
            )
            one = choose_next_readings(
                left, _select(rest, other), count=1, least_gain=0.0
            )
            gains.append(one[0].gain / readings.cost[other])
        assert int(np.argmax(gains)) == each.reading
        assert each.gain / readings.cost[each.reading] == pytest.approx(max(gains))


def _condition(
    conclusions: OpenConclusions, readings: PossibleReadings, taken: list[int]
) -> tuple[np.ndarray, np.ndarray]:
    """Return loadings on errors that are independent given some readings."""
    state = np.eye(conclusions.loadings.shape[1])
    for each in taken:
        column = state @ readings.loadings[each]
        total = readings.loadings[each] @ column + readings.own_variance[each]
        state = state - np.outer(column, column) / total
    root = np.linalg.cholesky(state)
    return conclusions.loadings @ root, readings.loadings @ root


def _select(readings: PossibleReadings, which: int) -> PossibleReadings:
    only = slice(which, which + 1)
    return PossibleReadings(
        loadings=readings.loadings[only],
        own_variance=readings.own_variance[only],
        cost=readings.cost[only],
    )


@pytest.mark.parametrize("seed", range(5))
def test_the_order_of_readings_and_conclusions_does_not_matter(seed: int):
    conclusions, readings = build_case(seed)
    rng = np.random.default_rng(seed + 100)
    rows = rng.permutation(len(readings.cost))
    columns = rng.permutation(len(conclusions.margin))
    shuffled = choose(
        OpenConclusions(
            margin=conclusions.margin[columns],
            loadings=conclusions.loadings[columns],
            weight=conclusions.weight[columns],
        ),
        PossibleReadings(
            loadings=readings.loadings[rows],
            own_variance=readings.own_variance[rows],
            cost=readings.cost[rows],
        ),
    )
    straight = choose(conclusions, readings)
    assert [rows[each.reading] for each in shuffled] == [
        each.reading for each in straight
    ]
    assert [columns[each.conclusion] for each in shuffled] == [
        each.conclusion for each in straight
    ]


def test_a_reading_of_something_unread_gains_its_whole_chance_and_comes_first():
    conclusions = OpenConclusions(
        margin=np.array([0.0, 0.5]),
        loadings=np.diag([FLAT_PRIOR_MM, 1.0]),
        weight=np.ones(2),
    )
    readings = PossibleReadings(
        loadings=conclusions.loadings,
        own_variance=np.ones(2),
        cost=np.ones(2),
    )
    first, second = choose(conclusions, readings)
    assert (first.reading, second.reading) == (0, 1)
    assert first.before == 0.5
    assert first.gain == pytest.approx(0.5, abs=1e-3)


def test_of_equal_readings_the_first_is_taken():
    conclusions = OpenConclusions(
        margin=np.zeros(3), loadings=np.eye(3), weight=np.ones(3)
    )
    readings = PossibleReadings(
        loadings=np.eye(3),
        own_variance=np.ones(3),
        cost=np.ones(3),
    )
    assert [each.reading for each in choose(conclusions, readings, 3)] == [0, 1, 2]


def test_the_best_reading_of_one_error_is_not_advised_again_and_again():
    # Two readings of one error, one of another: the second choice is the other error.
    conclusions = OpenConclusions(
        margin=np.array([0.5, 0.6]), loadings=np.eye(2), weight=np.ones(2)
    )
    readings = PossibleReadings(
        loadings=np.array([[1.0, 0.0], [1.0, 0.0], [0.0, 1.0]]),
        own_variance=np.full(3, 0.1),
        cost=np.ones(3),
    )
    assert [each.reading for each in choose(conclusions, readings)][:2] == [0, 2]


def test_nothing_is_advised_where_nothing_is_worth_it():
    conclusions = OpenConclusions(
        margin=np.array([3.5]), loadings=np.ones((1, 1)), weight=np.ones(1)
    )
    readings = PossibleReadings(
        loadings=np.ones((1, 1)),
        own_variance=np.ones(1),
        cost=np.ones(1),
    )
    assert choose_next_readings(conclusions, readings, count=5, least_gain=0.01) == []


def test_a_free_or_a_perfect_reading_is_refused():
    conclusions, readings = build_case(1)
    for member in ("cost", "own_variance"):
        members = {
            "loadings": readings.loadings,
            "own_variance": readings.own_variance,
            "cost": readings.cost,
        }
        members[member] = np.zeros(len(readings.cost))
        with pytest.raises(ValueError, match="cost"):
            choose(conclusions, PossibleReadings(**members))


def test_inputs_stay_as_they_were():
    conclusions, readings = build_case(2)
    before = conclusions.loadings.copy(), readings.loadings.copy()
    choose(conclusions, readings)
    np.testing.assert_array_equal(conclusions.loadings, before[0])
    np.testing.assert_array_equal(readings.loadings, before[1])


def test_one_reading_with_another_tape_informs_all_lines_of_the_first():
    # Two lines read with one tape, whose class is nearly all of their uncertainty.
    conclusions = OpenConclusions(
        margin=np.array([0.5, 0.6]),
        loadings=np.array([[2.0, 0.3, 0.0, 0.0], [2.0, 0.0, 0.3, 0.0]]),
        weight=np.ones(2),
    )
    readings = PossibleReadings(
        loadings=np.array([[2.0, 0.3, 0.0, -2.0], [2.0, 0.0, 0.3, -2.0]]),
        own_variance=np.full(2, 0.1),
        cost=np.ones(2),
    )
    alone = choose(conclusions, _select(readings, 1))[0]
    first, second = choose_next_readings(conclusions, readings, count=2, least_gain=0.0)
    assert (first.reading, second.reading) == (0, 1)
    assert second.gain < 0.2 * alone.gain


# Two lines of 20 m and 26 m, class II, one read with each of two tapes; the bay between
# them is 6 m. Errors: tape 1, tape 2, then each line's own. A bay has the first tape.
CLASS_II_20, CLASS_II_26, CLASS_II_6 = (
    (0.3 + 0.2 * metres) / np.sqrt(3.0) for metres in (20.0, 26.0, 6.0)
)
LINES = np.array([[CLASS_II_20, 0.0, 1.5, 0.0], [0.0, CLASS_II_26, 0.0, 1.5]])
BAY = LINES[1] - LINES[0] - np.array([CLASS_II_6, 0.0, 0.0, 0.0])
SECOND_LINE_AGAIN = LINES[1] - np.array([CLASS_II_26, 0.0, 0.0, 0.0])


def build_bay_case(order: list[int]) -> tuple[OpenConclusions, PossibleReadings]:
    """Build a conclusion on the distance of two lines, and three readings for it."""
    readings = PossibleReadings(
        loadings=np.array([SECOND_LINE_AGAIN, LINES[0] * [0, 1, 1, 1], BAY])[order],
        own_variance=np.array([1.5**2, 1.5**2, 1.1**2])[order],
        cost=np.array([1.2, 1.0, 1.0])[order],
    )
    conclusions = OpenConclusions(
        margin=np.array([0.8]),
        loadings=(LINES[1] - LINES[0])[None],
        weight=np.ones(1),
    )
    return conclusions, readings


def test_a_bay_settles_the_distance_of_two_lines_of_two_tapes_better_than_a_line():
    conclusions, readings = build_bay_case([0, 1, 2])
    distance = conclusions.loadings[0]
    removed = (readings.loadings @ distance) ** 2 / (
        (readings.loadings**2).sum(axis=1) + readings.own_variance
    )
    u = float(distance @ distance)
    left = u - removed
    assert left[2] < 0.2 * u
    assert left[2] < 0.5 * left[0] < left[1]
    first, *_ = choose(conclusions, readings)
    assert first.reading == 2
    assert first.before - first.after > 0.1


@pytest.mark.parametrize("order", [[2, 1, 0], [1, 2, 0], [0, 2, 1]])
def test_a_bay_is_chosen_wherever_it_stands_in_the_list(order: list[int]):
    straight = choose(*build_bay_case([0, 1, 2]))
    shuffled = choose(*build_bay_case(order))
    assert [order[each.reading] for each in shuffled] == [
        each.reading for each in straight
    ]
    assert [each.gain for each in shuffled] == pytest.approx(
        [each.gain for each in straight]
    )


def test_ties_condition_errors_as_the_generalised_inverse_of_their_covariance_does():
    rng = np.random.default_rng(4)
    tied, loadings = rng.normal(size=(3, 9)), rng.normal(size=(5, 9))
    difference = rng.normal(size=3)
    gain = tied.T @ np.linalg.pinv(tied @ tied.T)
    covariance = loadings @ (np.eye(9) - gain @ tied) @ loadings.T
    ties = LengthTies(tied, difference)
    conditioned = ties.condition(loadings)
    np.testing.assert_allclose(conditioned @ conditioned.T, covariance, atol=1e-12)
    np.testing.assert_allclose(ties.estimate, gain @ difference, atol=1e-12)
    # what the ties measure is known exactly, and their order does not matter
    np.testing.assert_allclose(ties.condition(tied), 0.0, atol=1e-12)
    turned = LengthTies(tied[::-1], difference[::-1])
    np.testing.assert_allclose(turned.condition(loadings), conditioned, atol=1e-12)
    np.testing.assert_allclose(turned.estimate, ties.estimate, atol=1e-12)


def test_a_bay_that_was_read_leaves_little_for_another_to_settle():
    conclusions, readings = build_bay_case([0, 1, 2])
    own = np.array([0.0, 0.0, 0.0, 0.0, 1.1])
    widened = [np.pad(each, ((0, 0), (0, 1))) for each in (
        conclusions.loadings, readings.loadings
    )]  # fmt: skip
    ties = LengthTies((np.pad(BAY, (0, 1)) - own)[None], np.array([0.4]))
    distance, rows = (ties.condition(each) for each in widened)
    assert float((distance**2).sum()) < 0.2 * float((widened[0] ** 2).sum())
    # the length moves towards the bay, by nearly all of the difference
    moved = float((widened[0] @ ties.estimate)[0])
    assert 0.7 * 0.4 < moved < 0.4
    assert rows.shape == widened[1].shape
