"""The stacks a shortfall lies between, against every sum written out."""

import itertools
import math

import pytest

from checks.engine.levelling.shim_choice import find_stacks_around
from checks.engine.levelling.shims import find_shim_stacks

INCH = 25.4
PLATES = (INCH / 16, INCH / 8, INCH / 4)


def every_sum(plates, most):
    counts = [range(int(most / plate) + 2) for plate in plates]
    sums = {
        sum(n * plate for n, plate in zip(many, plates, strict=True))
        for many in itertools.product(*counts)
    }
    return sorted(sums - {0})


@pytest.mark.parametrize("plates", [PLATES, (3.0, 4.7625), (1.7, 2.9, 7.1)])
@pytest.mark.parametrize("shortfall", [0.4, 3.4, 3.96875, 9.0, 12.7])
def test_they_are_the_sums_next_to_the_shortfall(plates, shortfall):
    sums = every_sum(plates, shortfall)
    below, above = find_stacks_around(shortfall, plates)
    lower = [one for one in sums if one <= shortfall + 1e-6]
    assert above == pytest.approx(min(set(sums) - set(lower)), abs=1e-6)
    if lower:
        assert below == pytest.approx(max(lower), abs=1e-6)
    else:
        assert math.isnan(below)


@pytest.mark.parametrize("shortfall", [0.4, 3.3, 3.96875, 4.0, 9.0, 12.7])
def test_the_shim_chosen_is_the_nearer_of_them_and_the_thinner_of_equals(shortfall):
    around = [
        one for one in find_stacks_around(shortfall, PLATES) if not math.isnan(one)
    ]
    nearest = min(around, key=lambda one: (round(abs(one - shortfall), 6), one))
    assert find_shim_stacks([shortfall], PLATES).total_mm[0] == pytest.approx(nearest)


def test_five_thirty_seconds_lie_between_an_eighth_and_three_sixteenths():
    assert find_stacks_around(INCH * 5 / 32, PLATES) == pytest.approx(
        (INCH / 8, INCH * 3 / 16)
    )


def test_without_plates_there_is_no_stack():
    assert all(math.isnan(one) for one in find_stacks_around(5.0, ()))


def test_with_too_many_sums_no_stack_is_shown():
    thin = [0.001 + n * 1e-6 for n in range(50)]
    assert all(math.isnan(one) for one in find_stacks_around(12.7, thin))
