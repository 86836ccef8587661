"""A plate punched to the rods as built, on examples and by its properties."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine import fasteners
from checks.engine.new_plate import NewPlate, PlatePattern, outline_edges, punch_to_rods

INCH = 25.4
PLANNED = np.array([[-2, 9], [2, 9], [-2, 14], [2, 14]]) * INCH


def pattern(rods, **members) -> PlatePattern:
    values = {
        "planned": PLANNED,
        "rods": np.asarray(rods, dtype=float),
        "diameter": np.full(4, 0.75 * INCH),
        "hole_diameter": 15 / 16 * INCH,
        "edge_distance": 1.25 * INCH,
        "thickness": 0.5 * INCH,
        **members,
    }
    return PlatePattern(**values)


def test_a_plate_for_rods_on_plan_is_the_plate_as_drawn():
    plate = punch_to_rods(pattern(PLANNED), "imperial")
    assert plate.size / INCH == pytest.approx([6.5, 7.5])
    assert plate.ordinates / INCH == pytest.approx(
        np.array([[1.25, 1.25], [5.25, 1.25], [1.25, 6.25], [5.25, 6.25]])
    )
    assert plate.growth.tolist() == [0.0] * 4
    assert plate.clearance_left == pytest.approx(plate.clearance)
    assert plate.eccentricity == pytest.approx([0.0, 0.0])
    assert plate.increment == pytest.approx(INCH / 16)


def test_an_edge_moves_only_where_a_hole_comes_too_near_and_by_whole_increments():
    rods = PLANNED + np.array([0.30, 0.0]) * INCH
    plate = punch_to_rods(pattern(rods), "imperial")
    # Right: 3.25 - 2.3125 (2.30 to the next 1/16 from the corner) = 0.9375, 1 needed.
    assert plate.growth / INCH == pytest.approx([0.0, 0.0, 1 / 16, 0.0])
    assert plate.edges / INCH == pytest.approx([-3.25, 7.75, 3.3125, 15.25])
    assert plate.edge_left.min() == pytest.approx(INCH)
    assert plate.eccentricity / INCH == pytest.approx([0.30, 0.0])


def test_ordinates_are_from_the_corner_of_the_plate_as_it_is_cut():
    rods = PLANNED - np.array([0.5, 0.5]) * INCH
    plate = punch_to_rods(pattern(rods), "imperial")
    assert plate.growth / INCH == pytest.approx([0.25, 0.25, 0.0, 0.0])
    assert plate.edges[:2] / INCH == pytest.approx([-3.5, 7.5])
    assert plate.ordinates[0] / INCH == pytest.approx([1.0, 1.0])


def test_without_an_edge_distance_the_least_plate_is_laid_out():
    rods = PLANNED + np.array([0.5, 0.0]) * INCH
    plate = punch_to_rods(pattern(rods, edge_distance=np.nan), "imperial")
    assert not plate.edges_known
    # Table J3.4 asks for 1 in at 3/4 in rods, at the planned holes and at the rods.
    assert plate.size / INCH == pytest.approx([4.5 + 2.0, 5.0 + 2.0])
    assert plate.growth.tolist() == [0.0] * 4


def test_a_metric_plate_is_laid_out_to_whole_millimetres():
    rods = PLANNED + np.array([3.4, -2.2])
    plate = punch_to_rods(
        pattern(rods, hole_diameter=26.0, edge_distance=30.0), "metric"
    )
    assert plate.increment == 1.0
    assert plate.ordinates == pytest.approx(np.round(plate.ordinates))


def test_tight_holes_are_laid_out_finer():
    # 1/32 in of clearance: rounding to 1/16 may take 0.044 in of it.
    rods = PLANNED + np.array([0.03, 0.03]) * INCH
    plate = punch_to_rods(pattern(rods, hole_diameter=13 / 16 * INCH), "imperial")
    assert plate.increment == pytest.approx(INCH / 32)
    assert plate.goes_over
    assert (plate.clearance_left >= 0.5 * plate.clearance - 1e-9).all()


def test_holes_without_clearance_do_not_go_over_rods_between_increments():
    rods = PLANNED + np.array([0.011, 0.0]) * INCH
    plate = punch_to_rods(pattern(rods, hole_diameter=0.75 * INCH), "imperial")
    assert not plate.goes_over


def test_holes_too_near_to_each_other_are_told():
    rods = PLANNED.copy()
    rods[1] = rods[0] + np.array([1.9 * INCH, 0.0])
    plate = punch_to_rods(pattern(rods), "imperial")
    # 2 2/3 x 3/4 = 2 in needed between centres (AISC 360 J3.3).
    assert plate.spacing_needed == pytest.approx(2.0 * INCH)
    assert plate.spacing < plate.spacing_needed
    assert not plate.spacing_allows
    assert punch_to_rods(pattern(PLANNED), "imperial").spacing_allows


def test_one_hole_has_no_spacing():
    plate = punch_to_rods(
        pattern(PLANNED[:1], planned=PLANNED[:1], diameter=np.array([19.05])),
        "imperial",
    )
    assert np.isnan(plate.spacing)
    assert plate.spacing_allows


def test_a_rod_that_is_not_determined_is_refused():
    rods = PLANNED.copy()
    rods[2, 1] = np.nan
    with pytest.raises(ValueError, match="determined"):
        punch_to_rods(pattern(rods), "imperial")


def test_the_input_is_left_alone():
    rods = PLANNED + 3.0
    before = rods.copy()
    punch_to_rods(pattern(rods), "imperial")
    assert (rods == before).all()


offsets = st.lists(st.floats(-40.0, 40.0, allow_nan=False), min_size=8, max_size=8).map(
    lambda values: np.reshape(values, (4, 2))
)


@given(offsets, st.sampled_from(["imperial", "metric"]), st.floats(20.5, 40.0))
def test_a_punched_plate_misses_no_rod(offset, style, hole):
    plate = punch_to_rods(pattern(PLANNED + offset, hole_diameter=hole), style)
    misfit = np.hypot(*(plate.holes - (PLANNED + offset)).T) - plate.clearance
    assert (misfit <= 1e-9).all()
    assert plate.goes_over


@given(offsets, st.sampled_from(["imperial", "metric"]), st.floats(10.0, 60.0))
def test_every_hole_keeps_its_edge_and_no_edge_moves_for_nothing(offset, style, edge):
    plate: NewPlate = punch_to_rods(
        pattern(PLANNED + offset, edge_distance=edge), style
    )
    assert (plate.edge_left >= plate.edge_needed - 1e-6).all()
    steps = plate.growth / (25.4 / 16 if style == "imperial" else 1.0)
    assert steps == pytest.approx(np.round(steps))
    needed = fasteners.min_edge_distance_mm(19.05)
    least = outline_edges(plate.holes, np.array(needed))
    grown = plate.growth > 0.0
    # A grown edge stands within one increment of the nearest hole's least distance.
    outward = np.array([-1.0, -1.0, 1.0, 1.0])
    spare = ((plate.edges - least) * outward)[grown]
    assert (spare < (25.4 / 16 if style == "imperial" else 1.0)).all()


@given(offsets, st.floats(-5000.0, 5000.0), st.floats(-5000.0, 5000.0))
def test_the_plate_does_not_depend_on_where_its_axes_begin(offset, along, inward):
    place = np.array([along, inward])
    here = punch_to_rods(pattern(PLANNED + offset), "imperial")
    there = punch_to_rods(
        pattern(PLANNED + offset + place, planned=PLANNED + place), "imperial"
    )
    # A coordinate midway between two increments may round either way.
    assert there.ordinates == pytest.approx(here.ordinates, abs=here.increment + 1e-6)
    assert np.diff(there.exact, axis=0) == pytest.approx(
        np.diff(here.exact, axis=0), abs=1e-6
    )
