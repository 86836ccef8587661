"""Least edge distances of AISC 360-16 Table J3.4, secondary source."""

import pytest

from checks.engine.constants import INCH_MM
from checks.engine.fasteners import min_edge_distance_mm


@pytest.mark.parametrize(
    ("rod", "edge"),
    [
        # AISC 360-16 Table J3.4, secondary [in]
        (1 / 2, 3 / 4), (5 / 8, 7 / 8), (3 / 4, 1.0), (7 / 8, 1.125), (1.0, 1.25),
        (1.125, 1.5), (1.25, 1.625),
        # over 1 1/4 in: 1.25 d
        (1.5, 1.875), (2.0, 2.5),
    ],
)  # fmt: skip
def test_least_edge_is_the_tables(rod, edge):
    assert min_edge_distance_mm(rod * INCH_MM) == pytest.approx(
        edge * INCH_MM, abs=1e-9
    )


def test_a_size_between_rows_takes_the_next_larger_row():
    # ours, on the safe side: the table has no 20 mm, which lies under 7/8 in
    assert min_edge_distance_mm(20.0) == pytest.approx(1.125 * INCH_MM, abs=1e-9)


def test_a_smaller_rod_takes_the_first_row():
    assert min_edge_distance_mm(10.0) == pytest.approx(0.75 * INCH_MM, abs=1e-9)
