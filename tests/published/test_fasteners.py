"""Fastener tables against the published tables they were typed from.

Threads: ASME B1.1 as tabulated in secondary sources. Base plate holes: AISC Design
Guide 1, 2nd ed., Table 2.3, secondary.
"""

import pytest

from checks.engine import fasteners
from checks.engine.constants import INCH_MM
from checks.engine.fasteners import THREADS, find_thread
from checks.engine.sources import Provenance


@pytest.mark.parametrize(
    ("inches", "area_in2"),
    [
        # ASME B1.1 tensile stress areas, coarse series, secondary source; to the last
        # digit the table prints
        (0.5, 0.142), (0.625, 0.226), (0.75, 0.334), (0.875, 0.462), (1.0, 0.606),
        (1.125, 0.763), (1.25, 0.969), (1.375, 1.16), (1.5, 1.41), (1.75, 1.90),
        (2.0, 2.50), (2.25, 3.25), (2.5, 4.00),
    ],
)  # fmt: skip
def test_stress_area_formula_gives_the_tabulated_area(inches, area_in2):
    thread = find_thread(inches * INCH_MM)
    last_digit = 0.001 if area_in2 < 1 else 0.01
    # 1 3/8 in is tabulated 1.16 where the formula gives 1.1549: one unit, not half
    off = abs(thread.stress_area_mm2 / INCH_MM**2 - area_in2)
    assert off <= last_digit
    assert thread.tabulated_area_mm2 == pytest.approx(area_in2 * INCH_MM**2)


def test_stress_areas_recalculated_to_four_figures():
    # computed from the formula by hand for the sizes of metal building rods
    for inches, area in ((0.75, 0.3345), (1.0, 0.6057), (1.25, 0.9691), (1.5, 1.4052)):
        found = find_thread(inches * INCH_MM).stress_area_mm2 / INCH_MM**2
        assert found == pytest.approx(area, abs=5e-5)


def test_heavy_hex_nut_flats_are_one_and_a_half_diameters_and_an_eighth():
    # ASME B18.2.2, secondary: basic width across flats 1.5 d + 1/8 in
    for thread in THREADS:
        expected = 1.5 * thread.diameter_mm + INCH_MM / 8
        assert thread.flats_mm == pytest.approx(expected, abs=1e-9)


def test_heavy_hex_nut_of_three_quarters_is_at_most_0_758_in_thick():
    # ASME B18.2.2, secondary
    assert find_thread(19.05).nut_max_mm == pytest.approx(0.758 * INCH_MM, abs=1e-9)
    assert find_thread(19.05).nut_min_mm == pytest.approx(0.710 * INCH_MM, abs=1e-9)


@pytest.mark.parametrize(
    ("rod", "hole", "washer"),
    [
        # AISC Design Guide 1, 2nd ed., Table 2.3, secondary [in]
        (0.75, 1.3125, 2.0), (0.875, 1.5625, 2.5), (1.0, 1.8125, 3.0),
        (1.25, 2.0625, 3.0), (1.5, 2.3125, 3.5), (1.75, 2.75, 4.0), (2.0, 3.25, 5.0),
        (2.5, 3.75, 5.5),
    ],
)  # fmt: skip
def test_table_washer_covers_its_hole_by_the_rule_the_program_uses(rod, hole, washer):
    (row,) = (
        each
        for each in fasteners.BASE_PLATE_HOLES
        if each.diameter_mm == pytest.approx(rod * INCH_MM, abs=1e-9)
    )
    assert row.hole_mm == pytest.approx(hole * INCH_MM, abs=1e-9)
    assert row.washer_mm == pytest.approx(washer * INCH_MM, abs=1e-9)
    found = fasteners.select_plate_washer(hole * INCH_MM, rod * INCH_MM)
    assert 2 * hole - rod <= washer
    assert found.size_mm <= washer * INCH_MM + 1e-9
    assert found.size_mm >= (2 * hole - rod) * INCH_MM - 1e-9


def test_f1554_strengths():
    # ASTM F1554, secondary: 36 ksi yield and 58 tensile; 105 and 125
    assert fasteners.GRADES["36"].yield_mpa == pytest.approx(248.211, abs=1e-3)
    assert fasteners.GRADES["36"].tensile_mpa == pytest.approx(399.896, abs=1e-3)
    assert fasteners.GRADES["105"].tensile_mpa == pytest.approx(861.845, abs=1e-3)


def test_remembered_washers_are_marked_so():
    assert {w.provenance for w in fasteners.list_washers(19.05)} == {
        Provenance.SECOND_HAND
    }
    assert {w.provenance for w in fasteners.list_washers(38.1)} == {
        Provenance.FROM_MEMORY
    }
