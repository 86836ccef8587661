import numpy as np
import pytest

from checks.engine.levelling.high_pad import find_pad_to_lower

NO_NOISE = 1e-6


def test_one_high_pad_that_forces_every_shim_is_worth_lowering():
    found = find_pad_to_lower([5.0, 0.0, -1.0, 0.5, 0.2], NO_NOISE, 3.175)
    assert found is not None
    assert (found.index, found.shims_needed, found.shims_saved) == (0, 4, 4)
    assert found.lower_by_mm == pytest.approx(4.5, abs=1e-5)


@pytest.mark.parametrize(
    "height",
    [
        [0.0, 0.0, -5.0, -5.0],  # two pads equally high
        [0.0, -1.0, -2.0],  # no shims to save
        [0.0, -1.0, -9.0, -9.0],  # the low pads stay low
        [5.0, 0.0, -4.0, -4.0, -4.0],  # saves one of four
        [5.0, 0.0, 0.0, -6.0, -6.0],  # saves two of four: not most
        [1.0],
        [np.nan, 1.0],
        [],
    ],
)
def test_lowering_is_not_offered_where_it_does_not_save_most_shims(height):
    assert find_pad_to_lower(height, NO_NOISE, 3.175) is None


def test_a_pad_at_the_limit_needs_no_shim():
    found = find_pad_to_lower([3.175, 0.0, -1.0, -1.0], NO_NOISE, 3.175)
    assert found is not None
    assert found.shims_needed == 2
    assert find_pad_to_lower([3.175, 0.0, 0.0], NO_NOISE, 3.175) is None


def test_a_pad_that_reads_high_by_noise_alone_is_not_lowered():
    rng = np.random.default_rng(2)
    offered = [
        find_pad_to_lower(rng.normal(0.0, 1.0, 20), 1.0, 3.175) for _ in range(100)
    ]
    assert sum(pad is not None for pad in offered) <= 3


def test_a_high_pad_is_lowered_to_where_the_others_are_expected():
    rng = np.random.default_rng(3)
    lower_by = []
    for _ in range(40):
        height = rng.normal(0.0, 1.0, 12)
        height[4] += 8.0
        found = find_pad_to_lower(height, 1.0, 3.175)
        if found is not None:
            assert found.index == 4
            lower_by.append(found.lower_by_mm)
    assert len(lower_by) >= 38
    # against the highest of eleven noisy readings it would be 1.6 mm less
    assert np.mean(lower_by) == pytest.approx(8.0, abs=0.5)
