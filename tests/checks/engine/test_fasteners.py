import pytest

from checks.engine import fasteners
from checks.engine.constants import INCH_MM


def test_a_size_the_tables_do_not_have_is_none():
    assert fasteners.find_thread(21.0) is None
    assert fasteners.list_washers(21.0) == ()


def test_a_diameter_rounded_to_a_tenth_of_a_mm_still_matches_its_size():
    assert fasteners.find_thread(19.1).diameter_mm == pytest.approx(0.75 * INCH_MM)
    assert fasteners.find_thread(19.2) is None


def test_every_nut_is_thicker_at_most_than_at_least():
    for thread in fasteners.THREADS:
        assert thread.nut_max_mm > thread.nut_min_mm > 0.0


def test_a_larger_hole_never_takes_a_smaller_washer():
    sizes = [fasteners.select_plate_washer(h, 19.05).size_mm for h in range(20, 120)]
    assert sizes == sorted(sizes)


def test_washer_past_the_table_is_sized_by_the_rule_and_says_so():
    washer = fasteners.select_plate_washer(100.0, 19.05)
    assert not washer.from_table
    assert washer.size_mm >= 2 * 100.0 - 19.05
    assert washer.thickness_mm == pytest.approx(7 / 8 * INCH_MM)


def test_washer_is_no_thinner_than_the_rods_own_row():
    # A barely opened hole about a 1 1/2 in rod still takes that rod's 1/2 in plate.
    washer = fasteners.select_plate_washer(40.0, 38.1)
    assert washer.thickness_mm == pytest.approx(INCH_MM / 2)
