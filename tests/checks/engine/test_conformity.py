import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.conformity import assess_conformity

LIMIT = 3.175


def test_the_limit_is_within_to_a_millionth_of_a_millimetre():
    deviation = np.array(
        [LIMIT, LIMIT + 9e-7, LIMIT + 2e-6, -LIMIT - 9e-7, -LIMIT - 2e-6]
    )
    found = assess_conformity(deviation, -LIMIT, LIMIT, 0.5)
    assert found.within.tolist() == [True, True, False, True, False]


def test_metres_that_do_not_subtract_exactly_are_within():
    # (10.006 - 10.0) <= 0.006 is False in floats
    deviation = (10.006 - 10.0) * 1000
    assert deviation > 6.0
    assert assess_conformity([deviation], -6.0, 6.0, 0.0).within[0]


def test_guarded_acceptance_shrinks_the_limits_by_the_expanded_uncertainty():
    deviation = np.array([2.175, 2.176, -2.175, -2.176])
    found = assess_conformity(deviation, -LIMIT, LIMIT, 0.5, guarded=True)
    assert found.within.tolist() == [True, False, True, False]
    # the probability is that of the limits themselves
    np.testing.assert_array_equal(
        found.probability, assess_conformity(deviation, -LIMIT, LIMIT, 0.5).probability
    )


def test_guarded_acceptance_cannot_be_shown_when_the_uncertainty_is_too_large():
    assert not assess_conformity([0.0], -1.0, 1.0, 0.6, guarded=True).within[0]
    assert not assess_conformity([0.0], -1.0, 1.0, np.nan, guarded=True).within[0]


def test_one_sided_limits():
    found = assess_conformity([-100.0, 1.0, 3.0], -np.inf, 2.0, 1.0)
    assert found.within.tolist() == [True, True, False]
    assert found.probability[0] == 1.0
    guarded = assess_conformity([-100.0, 1.0], -np.inf, 2.0, 1.0, guarded=True)
    assert guarded.within.tolist() == [True, False]


def test_known_exactly_is_certain():
    found = assess_conformity([1.0, 2.0, 2.0 + 1e-7, 3.0], -2.0, 2.0, 0.0)
    assert found.probability.tolist() == [1.0, 1.0, 1.0, 0.0]


def test_a_missing_deviation_is_never_within():
    found = assess_conformity([np.nan, np.nan], -1.0, 1.0, [0.5, 0.0])
    assert not found.within.any()
    assert np.isnan(found.probability).all()


def test_an_unknown_uncertainty_leaves_the_verdict_and_no_probability():
    found = assess_conformity([0.5], -1.0, 1.0, np.nan)
    assert found.within[0]
    assert np.isnan(found.probability[0])


def test_probability_on_the_limit_is_a_half_and_far_outside_keeps_its_digits():
    found = assess_conformity([10.0, 30.0], -10.0, 10.0, 0.5)
    assert found.probability[0] == pytest.approx(0.5)
    # Phi(-8) = 6.2209605742717841e-16; as 1 - Phi(8) it would be 6.66e-16
    assert assess_conformity([14.0], -10.0, 10.0, 0.5).probability[0] == pytest.approx(
        6.2209605742717841e-16, rel=1e-12
    )
    assert assess_conformity([-14.0], -10.0, 10.0, 0.5).probability[0] == pytest.approx(
        6.2209605742717841e-16, rel=1e-12
    )


def test_impossible_arguments_are_refused():
    with pytest.raises(ValueError, match="negative"):
        assess_conformity([0.0], -1.0, 1.0, -0.1)
    with pytest.raises(ValueError, match="above"):
        assess_conformity([0.0], 1.0, -1.0, 0.1)


@given(
    d=st.floats(-20, 20),
    lower=st.floats(-10, 0),
    upper=st.floats(0, 10),
    u=st.floats(0, 5),
)
def test_reversing_the_axis_changes_nothing(d, lower, upper, u):
    one = assess_conformity([d], lower, upper, u)
    other = assess_conformity([-d], -upper, -lower, u)
    assert one.within[0] == other.within[0]
    assert one.probability[0] == pytest.approx(other.probability[0], abs=1e-15)
    assert 0.0 <= one.probability[0] <= 1.0


@given(d=st.floats(-20, 20), limit=st.floats(0, 10), u=st.floats(0, 5))
def test_guarded_acceptance_never_accepts_what_simple_acceptance_refuses(d, limit, u):
    guarded = assess_conformity([d], -limit, limit, u, guarded=True).within[0]
    assert assess_conformity([d], -limit, limit, u).within[0] or not guarded


def test_inputs_are_untouched():
    deviation = np.array([1.0, 5.0])
    deviation.flags.writeable = False
    assess_conformity(deviation, -2.0, 2.0, 0.1, guarded=True)
