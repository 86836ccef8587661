"""Maturity by Nurse-Saul and equivalent age."""

import numpy as np
import pytest

from checks.engine.concrete.maturity import (
    compute_age_factor,
    compute_equivalent_age,
    compute_nurse_saul,
)

NAN = float("nan")


def test_frozen_hours_add_no_maturity_and_take_none():
    assert compute_nurse_saul([10.0, -5.0, 10.0], 24.0) == 480.0


def test_maturity_is_added_up_for_many_placements_at_once():
    temperature = np.array([[10.0, 20.0], [5.0, 5.0]])
    assert compute_nurse_saul(temperature, [12.0, 24.0]).tolist() == [600.0, 180.0]
    assert compute_equivalent_age(np.full((2, 3), 20.0), 8.0) == pytest.approx(
        [24.0, 24.0]
    )


def test_concrete_at_the_reference_temperature_ages_hour_by_hour():
    assert compute_age_factor(23.0, reference_c=23.0) == 1.0
