"""Basic strengths of ACI 318-19 chapter 17 against published check values.

The clauses and the worked numbers are from secondary sources: transcriptions of
ACI 318-19 and a design guide to its chapter 17 (2025 edition, pp. 73 and 86).
"""

import pytest

from checks.engine.constants import INCH_MM, KSI_MPA, POUND_N, PSI_MPA
from checks.engine.fasteners import GRADES, find_thread
from checks.engine.reanchor import (
    bond_edge_mm,
    bond_strength_n,
    breakout_strength_n,
    edge_factor,
    steel_strength_n,
)


@pytest.mark.parametrize(
    ("kc", "psi", "hef_in", "pounds"),
    [
        # design guide p. 73: 47,405 lb for kc 17, f'c 4500 psi, hef 12 in
        (17.0, 4500.0, 12.0, 47_405.0),
        # design guide p. 86: 18,313 lb for a product's kc 21, f'c 4000, hef 5.75 in
        (21.0, 4000.0, 5.75, 18_313.0),
    ],
)
def test_breakout_of_a_single_rod(kc, psi, hef_in, pounds):
    found = breakout_strength_n(psi * PSI_MPA, hef_in * INCH_MM, kc) / POUND_N
    assert found == pytest.approx(pounds, abs=0.6)  # printed to the pound


def test_bond_of_a_three_quarter_rod_ten_inches_deep():
    # 200 psi x pi x 3/4 x 10 in = 4,712 lb, computed from 17.6.5.2.1
    found = bond_strength_n(200.0, 0.75 * INCH_MM, 10 * INCH_MM) / POUND_N
    assert found == pytest.approx(4712.4, abs=0.1)


@pytest.mark.parametrize(("stress", "inches"), [(1000.0, 7.151), (650.0, 5.765)])
def test_distance_within_which_an_edge_lowers_the_bond(stress, inches):
    # 3/4 in rod, computed from 17.6.5.1.2
    found = bond_edge_mm(stress, 0.75 * INCH_MM) / INCH_MM
    assert found == pytest.approx(inches, abs=5e-4)


def test_edge_factor_of_the_published_group():
    # design guide p. 86: psi_ed 0.978 for hef 5.75 in, 0.97826 unrounded; the edge of
    # 8 in is worked back from it: 0.7 + 0.3 x 8 / 8.625
    assert edge_factor(8 * INCH_MM, 5.75 * INCH_MM) == pytest.approx(0.97826, abs=5e-6)


def test_edge_factor_is_one_from_one_and_a_half_embedments_on():
    # 17.6.2.4
    assert edge_factor(150.0, 100.0) == 1.0
    assert edge_factor(400.0, 100.0) == 1.0


def test_concrete_stronger_than_8000_psi_counts_as_8000():
    # 17.3.1, post-installed
    assert breakout_strength_n(10_000 * PSI_MPA, 200.0, 17.0) == breakout_strength_n(
        8000 * PSI_MPA, 200.0, 17.0
    )


def test_steel_strength_uses_the_least_of_three():
    # 17.6.1.2: futa <= min(1.9 fya, 125 ksi). Grade 36: 58 ksi x 0.3345 in2 = 19.40
    # kip; grade 105: 125 ksi x 0.3345 = 41.81 kip (areas computed, ASME B1.1 formula)
    thread = find_thread(0.75 * INCH_MM)
    kip = 1000 * POUND_N
    assert steel_strength_n(thread, GRADES["36"]) / kip == pytest.approx(
        19.40, abs=0.01
    )
    assert steel_strength_n(thread, GRADES["105"]) / kip == pytest.approx(
        41.81, abs=0.01
    )
    assert GRADES["36"].tensile_mpa < 1.9 * 36 * KSI_MPA
