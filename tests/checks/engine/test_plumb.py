"""Columns out of plumb: both axes, and the way back."""

import numpy as np
import pytest

from checks.engine.errors import EngineError
from checks.engine.plumb import assess_plumb, compute_plumb_limit


def test_the_top_moves_back_by_what_it_is_out_of_plumb():
    found = assess_plumb([[6.0, -8.0]], [5000.0], 1 / 500)
    assert found.movement_mm.tolist() == [[-6.0, 8.0]]
    assert found.out_of_plumb_mm.tolist() == [10.0]
    assert found.slope[0] == pytest.approx([0.0012, -0.0016])
    assert found.direction_rad[0] == pytest.approx(np.arctan2(-8, 6))
    assert found.within.tolist() == [[True, True]]


def test_each_axis_is_compared_with_its_own_limit():
    found = assess_plumb([10.5, 0.0], 5000.0, 1 / 500)
    assert found.limit_mm == 10.0
    assert found.within.tolist() == [False, True]


def test_an_axis_not_measured_is_never_within():
    found = assess_plumb([np.nan, 1.0], 5000.0, 1 / 500)
    assert found.within.tolist() == [False, True]
    assert np.isnan(found.movement_mm[0])


def test_axes_measured_at_different_heights_have_each_its_limit():
    found = assess_plumb([8.0, 8.0], [5000.0, 3000.0], 1 / 500)
    assert found.within.tolist() == [True, False]
    assert found.limit_mm == 6.0


@pytest.mark.parametrize("height", [0.0, -1.0])
def test_a_height_of_zero_or_less_is_refused(height):
    with pytest.raises(EngineError, match="above zero"):
        compute_plumb_limit(height, 1 / 500)
