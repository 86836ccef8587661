"""Loops of level nets: what must hold whatever the order of set-ups and points."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from checks.engine.levelling import misclosure
from checks.engine.levelling.levels import adjust_levels
from checks.engine.levelling.misclosure import find_largest_misclosure


def edges(table):
    setup, point = np.nonzero(~np.isnan(table))
    return table[setup, point], setup, point


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    setups=st.integers(2, 6),
    points=st.integers(2, 12),
    share=st.floats(0.4, 1.0),
)
def test_the_misclosure_does_not_depend_on_any_order(seed, setups, points, share):
    rng = np.random.default_rng(seed)
    table = rng.normal(0, 2, (setups, points))
    table[rng.random(table.shape) > share] = np.nan
    if np.isnan(table).all():
        return
    found = find_largest_misclosure(*edges(table))
    mixed = table[rng.permutation(setups)][:, rng.permutation(points)]
    reading, setup, point = edges(mixed)
    shuffled = rng.permutation(reading.size)
    again = find_largest_misclosure(reading[shuffled], setup[shuffled], point[shuffled])
    np.testing.assert_allclose(again.misclosure_mm, found.misclosure_mm, atol=1e-12)
    adjusted = adjust_levels(reading[shuffled], setup[shuffled], point[shuffled], 1.0)
    np.testing.assert_allclose(adjusted.misclosure_mm, found.misclosure_mm, atol=1e-9)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_heights_of_set_ups_and_points_do_not_count(seed):
    rng = np.random.default_rng(seed)
    table = rng.normal(0, 2, (4, 6))
    table[rng.random(table.shape) > 0.7] = np.nan
    if np.isnan(table).all():
        return
    moved = table + rng.normal(0, 500, (4, 1)) - rng.normal(0, 500, (1, 6))
    one, other = (find_largest_misclosure(*edges(t)) for t in (table, moved))
    np.testing.assert_allclose(one.misclosure_mm, other.misclosure_mm, atol=1e-9)


def test_no_loop_is_no_misclosure():
    found = find_largest_misclosure(*edges(np.array([[1.0, 2.0, np.nan, 3.0]])))
    assert (found.misclosure_mm, found.setups, found.complete) == (0.0, (), True)
    empty = np.array([], dtype=int)
    assert find_largest_misclosure(np.array([]), empty, empty).misclosure_mm == 0.0


def test_many_set_ups_on_shared_pads_stop_at_the_cap_and_say_so():
    rng = np.random.default_rng(4)
    table = rng.normal(0, 2, (12, 30))
    found = find_largest_misclosure(*edges(table))
    assert not found.complete
    pairs = [np.ptp(a - b) for a in table for b in table]
    assert found.misclosure_mm >= max(pairs)
    mixed = find_largest_misclosure(*edges(table[rng.permutation(12)]))
    np.testing.assert_allclose(mixed.misclosure_mm, found.misclosure_mm)


def test_the_cap_is_on_sequences_of_set_ups(monkeypatch):
    # a ring of five: ten ordered pairs, then ten paths of each longer length
    table = np.full((5, 5), np.nan)
    at = np.arange(5)
    table[at, at], table[at, (at + 1) % 5] = 1.0, 0.0
    assert find_largest_misclosure(*edges(table)).misclosure_mm == 5.0
    monkeypatch.setattr(misclosure, "MAX_SEQUENCES", 9)
    capped = find_largest_misclosure(*edges(table))
    assert (capped.misclosure_mm, capped.complete) == (0.0, False)
