"""Strength gate, acceptance and maturity against where they come from."""

import numpy as np
import pytest

from checks.engine.concrete.maturity import (
    compute_age_factor,
    compute_equivalent_age,
    compute_nurse_saul,
)
from checks.engine.concrete.strength import assess_acceptance, assess_strength_gate
from checks.engine.constants import PSI_MPA


@pytest.mark.parametrize(
    ("psi", "opens"), [(2249.0, False), (2250.0, True), (2251.0, True)]
)
def test_seventy_five_per_cent_of_the_specified_strength_opens_the_gate(psi, opens):
    # 29 CFR 1926.752(a)(1), read: 0.75 * 3000 psi = 2250 psi
    gate = assess_strength_gate([psi * PSI_MPA], specified_mpa=3000 * PSI_MPA)
    assert gate.open is opens


@pytest.mark.parametrize(("mpa", "opens"), [(15.524, False), (15.525, True)])
def test_the_gate_in_megapascals(mpa, opens):
    # The same rule: 0.75 * 20.7 MPa = 15.525 MPa
    assert assess_strength_gate([mpa], specified_mpa=20.7).open is opens


@pytest.mark.parametrize(("psi", "opens"), [(1799.0, False), (1800.0, True)])
def test_strength_sufficient_for_erection_opens_it_too(psi, opens):
    # 29 CFR 1926.752(a)(1), read: the rule's other route
    gate = assess_strength_gate(
        [psi * PSI_MPA], specified_mpa=3000 * PSI_MPA, sufficient_mpa=1800 * PSI_MPA
    )
    assert gate.open is opens


@pytest.mark.parametrize(
    ("tests_psi", "specified_psi", "accepted"),
    [
        # ACI 318-19 26.12.3.1 (second-hand): averages of three >= f'c
        ([3000, 3000, 3000], 3000, True),
        ([3100, 2950, 2949], 3000, False),
        ([3100, 2950, 2950, 3100], 3000, True),
        # no test more than 500 psi below f'c up to 5000 psi
        ([2500, 3600, 3600], 3000, True),
        ([2499, 3600, 3600], 3000, False),
        ([4500, 5600, 5600], 5000, True),
        ([4499, 5600, 5600], 5000, False),
        # nor more than 10 % below it above 5000 psi
        ([5400, 6500, 6500], 6000, True),
        ([5399, 6500, 6500], 6000, False),
    ],
)
def test_acceptance_of_standard_cured_tests(tests_psi, specified_psi, accepted):
    tests = np.array(tests_psi) * PSI_MPA
    assert assess_acceptance(tests, specified_psi * PSI_MPA).accepted is accepted


def test_nurse_saul_maturity_of_28_days():
    # civinnovate (second-hand): 28 d * (15 - (-11)) = 728 °C d
    maturity = compute_nurse_saul(np.full(28, 15.0), 24.0, datum_c=-11.0)
    assert maturity / 24 == pytest.approx(728)


def test_hours_to_a_maturity_at_a_steady_temperature():
    # engius (second-hand): 3500 °C h at 23 °C above the datum takes 152 h
    assert compute_nurse_saul([23.0], [152.0]) == pytest.approx(3500, rel=2e-3)
    assert round(3500 / float(compute_nurse_saul([23.0], [1.0]))) == 152


@pytest.mark.parametrize(
    ("celsius", "factor"),
    [
        # Q = 5000 K, Ts = 20 °C: the form of ASTM C1074 (second-hand) and of
        # A. K. Schindler, ACI Mater. J. 101-M09; no worked example with numbers was
        # found, so these are recomputed
        (0, 0.28684),
        (10, 0.54751),
        (20, 1.0),
        (23, 1.18860),
        (30, 1.75528),
        (40, 2.97227),
    ],
)
def test_age_factors(celsius, factor):
    assert compute_age_factor(celsius) == pytest.approx(factor, abs=5e-6)
    assert compute_equivalent_age([celsius], [10.0]) == pytest.approx(
        10 * factor, abs=5e-5
    )
