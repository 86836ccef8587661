"""Plumb at its limit: AISC 303 7.13.1.1, read in the 2016 edition, p. 16.3-49."""

import pytest

from checks.engine.plumb import assess_plumb
from checks.tolerances.limits import resolve_limits
from jobs.anchor_plan.values import ToleranceSpec

RATIO = resolve_limits(ToleranceSpec()).plumb()


@pytest.mark.parametrize(
    ("lean_mm", "height_mm", "within"),
    [
        # 1/500 of 20 ft is 0.48 in
        (0.48 * 25.4, 20 * 304.8, True),
        (0.04 * 304.8, 20 * 304.8, True),
        (12.192, 6096.0, True),
        (12.193, 6096.0, False),
        (-12.192, 6096.0, True),
        (-12.193, 6096.0, False),
        # 1/500 of 5 m is 10 mm
        (10.0, 5000.0, True),
        (10.0 / 25.4 * 25.4, 5000.0, True),
        (10.001, 5000.0, False),
    ],
)
def test_a_column_may_be_out_of_plumb_by_a_five_hundredth(lean_mm, height_mm, within):
    found = assess_plumb([lean_mm, 0.0], height_mm, RATIO)
    assert bool(found.within[0]) is within
