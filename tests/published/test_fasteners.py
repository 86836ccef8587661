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


# ---- ISO 4032, ISO 7089, ISO 898-1 ---------------------------------------------------

# ISO 4032:2001 nuts, ISO 7089 washers: secondary (three tables that agree, and two).
# size, pitch, nut max, min, flats, washer inside, outside, thickness, its max [mm],
# stress area by the formula of ISO 898-1 and as its table prints it [mm2]
METRIC = [
    (12, 1.75, 10.8, 10.37, 18, 13, 24, 2.5, 2.7, 84.27, 84.3),
    (14, 2, 12.8, 12.1, 21, 15, 28, 2.5, 2.7, 115.44, 115),
    (16, 2, 14.8, 14.1, 24, 17, 30, 3, 3.3, 156.67, 157),
    (18, 2.5, 15.8, 15.1, 27, 19, 34, 3, 3.3, 192.47, 192),
    (20, 2.5, 18.0, 16.9, 30, 21, 37, 3, 3.3, 244.79, 245),
    (22, 2.5, 19.4, 18.1, 34, 23, 39, 3, 3.3, 303.40, 303),
    (24, 3, 21.5, 20.2, 36, 25, 44, 4, 4.3, 352.50, 353),
    (27, 3, 23.8, 22.5, 41, 28, 50, 4, 4.3, 459.41, 459),
    (30, 3.5, 25.6, 24.3, 46, 31, 56, 4, 4.3, 560.59, 561),
    (33, 3.5, 28.7, 27.4, 50, 34, 60, 5, 5.6, 693.55, 694),
    (36, 4, 31.0, 29.4, 55, 37, 66, 5, 5.6, 816.72, 817),
    (42, 4.5, 34.0, 32.4, 65, 45, 78, 8, 9, 1120.91, 1120),
    (48, 5, 38.0, 36.4, 75, 52, 92, 8, 9, 1473.15, 1470),
]


@pytest.mark.parametrize("row", METRIC, ids=lambda row: f"M{row[0]}")
def test_metric_nuts_washers_and_threads_are_those_of_the_tables(row):
    size, pitch, most, least, flats, inside, outside, thick, thickest = row[:9]
    thread = find_thread(float(size))
    assert thread.pitch_mm == pitch
    assert (thread.nut_max_mm, thread.nut_min_mm, thread.flats_mm) == (
        most,
        least,
        flats,
    )
    assert thread.stress_area_mm2 == pytest.approx(row[9], abs=0.005)
    assert thread.tabulated_area_mm2 == row[10]
    (washer,) = fasteners.list_washers(float(size))
    assert (washer.inside_mm, washer.outside_mm) == (inside, outside)
    assert (washer.thickness_mm, washer.thickness_max_mm) == (thick, thickest)
    # rows with a value from memory are marked: ISO 4032 least heights, ISO 7089 rows
    assert (thread.nut_min_provenance is Provenance.FROM_MEMORY) == (
        size in (22, 27, 33)
    )
    assert (washer.provenance is Provenance.FROM_MEMORY) == (
        size in (14, 18, 22, 27, 33)
    )


@pytest.mark.parametrize(
    ("inches", "rows"),
    [
        # ASME B18.22.1 type A [in]: inside, outside, thickness, max, min. 1 1/8 narrow
        # second-hand, the others from memory with high confidence.
        (1.125, {"N": (1.188, 2.250, 0.134, 0.160, 0.108),
                 "W": (1.250, 2.750, 0.165, 0.192, 0.136)}),
        (1.375, {"N": (1.438, 2.750, 0.165, 0.192, 0.136),
                 "W": (1.500, 3.250, 0.180, 0.213, 0.153)}),
    ],
)  # fmt: skip
def test_washers_of_one_and_an_eighth_and_one_and_three_eighths(inches, rows):
    found = {w.series: w for w in fasteners.list_washers(inches * INCH_MM)}
    assert found.keys() == rows.keys()
    for series, row in rows.items():
        each = found[series]
        got = (each.inside_mm, each.outside_mm, each.thickness_mm,
               each.thickness_max_mm, each.thickness_min_mm)  # fmt: skip
        assert got == pytest.approx([v * INCH_MM for v in row], abs=1e-9)
        seen = inches == 1.125 and series == "N"
        wanted = Provenance.SECOND_HAND if seen else Provenance.FROM_MEMORY
        assert each.provenance is wanted


def test_heavy_hex_nuts_are_the_basic_height_and_a_tolerance_by_the_diameter():
    # ASME B18.2.2, secondary: basic height and 0.016 d + 0.012 in either way
    basic = {0.5: 31 / 64, 0.625: 39 / 64, 0.75: 47 / 64, 0.875: 55 / 64, 1.0: 63 / 64,
             1.125: 1 + 7 / 64, 1.25: 1 + 7 / 32, 1.375: 1 + 11 / 32,
             1.5: 1 + 15 / 32, 1.75: 1 + 23 / 32, 2.0: 1 + 31 / 32,
             2.25: 2 + 13 / 64, 2.5: 2 + 29 / 64}  # fmt: skip
    for inches, height in basic.items():
        thread, tolerance = find_thread(inches * INCH_MM), 0.016 * inches + 0.012
        assert thread.nut_max_mm / INCH_MM == pytest.approx(
            height + tolerance, abs=1e-3
        )
        assert thread.nut_min_mm / INCH_MM == pytest.approx(
            height - tolerance, abs=1e-3
        )
