"""The solver against the slow reference implementation."""

import numpy as np
import pytest

from checks.engine.plate_fit.batch import PROOF_TOLERANCE_MM
from checks.engine.plate_fit.plate import fit_plates
from tests.checks.engine.plate_fit.reference import fit_plate_reference, rotate

FOUR = np.array([[-51.0, -63.0], [51.0, -63.0], [51.0, 63.0], [-51.0, 63.0]])
SIX = np.vstack((FOUR, [[0.0, -63.0], [0.0, 63.0]]))
DEMAND_MM = 1e-6  # what is promised of the optimum


@pytest.mark.parametrize(
    ("holes", "sigma", "limit"),
    [
        (FOUR, 1.0, None),  # a good crew: one valley, proved by the bound alone
        (SIX, 3.0, None),  # more rods than the active set holds
        (FOUR, 20.0, None),  # rods far off
        (FOUR, 60.0, None),  # rods as far off as their spacing: many valleys
        (FOUR, 3.0, 0.5),  # the limit on the shift binds
        (SIX, 20.0, 1.0),
    ],
)
def test_the_interference_is_that_of_the_reference(holes, sigma, limit):
    rng = np.random.default_rng(int(sigma) + len(holes))
    rods = holes + rng.normal(0.0, sigma, holes.shape)
    clearance = rng.uniform(0.0, 4.0, len(holes))
    limits = None if limit is None else np.full(2, limit)
    fit = fit_plates(
        holes[None],
        rods[None],
        clearance[None],
        shift_limit_mm=None if limits is None else limits[None],
    )
    reference = fit_plate_reference(holes, rods, clearance, limits)
    found = float(fit.interference_mm[0])
    assert fit.proven[0]
    # The reference is a placement too: a proved fit cannot be worse than it.
    assert found <= reference.interference_mm + PROOF_TOLERANCE_MM
    assert found == pytest.approx(reference.interference_mm, abs=DEMAND_MM)


def test_a_plate_rotated_by_a_quarter_is_found_by_both():
    rng = np.random.default_rng(8)
    rods = rotate(FOUR, 1.4) + rng.normal(0.0, 2.0, FOUR.shape)
    clearance = np.full(4, 2.4)
    fit = fit_plates(FOUR[None], rods[None], clearance[None])
    reference = fit_plate_reference(FOUR, rods, clearance)
    assert fit.interference_mm[0] == pytest.approx(
        reference.interference_mm, abs=DEMAND_MM
    )
    assert fit.rotation_rad[0] == pytest.approx(reference.rotation_rad, abs=1e-6)
