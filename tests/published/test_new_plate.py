"""A new base plate against AISC 360 Table J3.4 and J3.3, by hand."""

import numpy as np
import pytest

from checks.engine.new_plate import PlatePattern, punch_to_rods

INCH = 25.4

# AISC 360-16 Table J3.4, minimum edge distance from the centre of a standard hole to
# an edge, by bolt diameter (seen second-hand). [in]
TABLE_J3_4 = {
    1 / 2: 3 / 4,
    5 / 8: 7 / 8,
    3 / 4: 1.0,
    7 / 8: 1 + 1 / 8,
    1.0: 1 + 1 / 4,
    1 + 1 / 8: 1 + 1 / 2,
    1 + 1 / 4: 1 + 5 / 8,
    1.5: 1.25 * 1.5,  # over 1 1/4 in: 1 1/4 d
    2.0: 1.25 * 2.0,
}


@pytest.mark.parametrize(("rod", "edge"), TABLE_J3_4.items())
def test_a_plate_grows_until_table_j3_4_is_kept_and_no_further(
    rod: float, edge: float
) -> None:
    """Drawn 6 by 8 in between holes with the table's own edge distance.

    Rod 2 stands 5/16 in to the right and 3/16 in outward: the right edge moves by
    5/16 in and the near edge by 3/16 in, both on sixteenths, nothing else.
    """
    planned = np.array([[-3, 10], [3, 10], [-3, 18], [3, 18]]) * INCH
    rods = planned.copy()
    rods[1] += np.array([5 / 16, -3 / 16]) * INCH
    plate = punch_to_rods(
        PlatePattern(
            planned=planned,
            rods=rods,
            diameter=np.full(4, rod * INCH),
            hole_diameter=(rod + 3 / 16) * INCH,
            edge_distance=edge * INCH,
        ),
        "imperial",
    )
    assert plate.edge_needed / INCH == pytest.approx(edge)
    assert plate.growth / INCH == pytest.approx([0.0, 3 / 16, 5 / 16, 0.0])
    assert plate.edge_left.min() / INCH == pytest.approx(edge)
    assert plate.size / INCH == pytest.approx(
        [6 + 2 * edge + 5 / 16, 8 + 2 * edge + 3 / 16]
    )


def test_ordinates_by_hand() -> None:
    """3/4 in rods, 15/16 in holes, 4 by 5 in, 1 1/4 in edges: a 6 1/2 by 7 1/2 plate.

    Rod 1 stands 0.20 in along and 0.11 in inward of its hole. From the corner its hole
    is at 1.45, 1.36 in: on sixteenths 1 7/16 = 1.4375 and 1 3/8 = 1.375, which is
    0.0125 and 0.015 in away, 0.0195 together. Of the clearance (15/16 - 3/4) / 2 =
    0.09375 in, 0.0742 in are left.
    """
    planned = np.array([[-2, 9], [2, 9], [-2, 14], [2, 14]]) * INCH
    rods = planned.copy()
    rods[0] += np.array([0.20, 0.11]) * INCH
    plate = punch_to_rods(
        PlatePattern(
            planned=planned,
            rods=rods,
            diameter=np.full(4, 0.75 * INCH),
            hole_diameter=15 / 16 * INCH,
            edge_distance=1.25 * INCH,
            thickness=0.5 * INCH,
        ),
        "imperial",
    )
    assert plate.size / INCH == pytest.approx([6.5, 7.5])
    assert plate.exact[0] / INCH == pytest.approx([1.45, 1.36])
    assert plate.ordinates[0] / INCH == pytest.approx([1 + 7 / 16, 1 + 3 / 8])
    assert plate.clearance_left[0] / INCH == pytest.approx(0.0742, abs=1e-4)
    assert plate.growth.tolist() == [0.0] * 4


def test_holes_keep_two_and_two_thirds_diameters_and_one_clear() -> None:
    """AISC 360-16 J3.3 (seen second-hand): 2 2/3 d between centres, d clear.

    1 in rods: 2.667 in between centres. With 1 13/16 in holes (AISC Manual Table 14-2)
    the clear distance rules: 1 13/16 + 1 = 2 13/16 in.
    """

    def punch(apart: float, hole: float) -> bool:
        planned = np.array([[0.0, 0.0], [8.0, 0.0]]) * INCH
        rods = np.array([[0.0, 0.0], [apart, 0.0]]) * INCH
        return punch_to_rods(
            PlatePattern(
                planned=planned,
                rods=rods,
                diameter=np.full(2, INCH),
                hole_diameter=hole * INCH,
                edge_distance=2 * INCH,
            ),
            "imperial",
        ).spacing_allows

    assert punch(2 + 11 / 16, 1 + 1 / 16)
    assert not punch(2 + 10 / 16, 1 + 1 / 16)
    assert punch(2 + 13 / 16, 1 + 13 / 16)
    assert not punch(2 + 12 / 16, 1 + 13 / 16)
