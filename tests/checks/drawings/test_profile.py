from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from checks.drawings.profile import (
    MAX_PADS_PER_PROFILE,
    MIN_PAD_SPACING_UNITS,
    draw_profiles,
)
from checks.drawings.svg import render_svg
from tests.checks.drawings import samples

HEIGHTS = {"S1": 0.0, "S2": -2.0, "S3": -5.2, "S4": -16.0, "S5": None}


def south(**heights: float | None) -> Any:
    plan = samples.rectangle()
    result = samples.result(plan, heights=HEIGHTS | heights)
    return draw_profiles(plan, result)[0]


def test_heights_are_drawn_in_proportion_from_the_highest_pad() -> None:
    drawing = south()
    tops = {pad.mark: pad.top - drawing.datum_y for pad in drawing.pads}
    assert tops["S1"] == 0
    assert tops["S3"] / tops["S4"] == pytest.approx(5.2 / 16.0, rel=0.01)


def test_the_band_reaches_down_to_the_limit() -> None:
    drawing = south()
    tops = {pad.mark: pad.top - drawing.datum_y for pad in drawing.pads}
    assert drawing.band_height / tops["S4"] == pytest.approx(3.175 / 16.0, rel=0.02)
    assert drawing.limit_y - drawing.datum_y == pytest.approx(drawing.band_height)


def test_a_shim_stack_stands_on_its_pad_as_thick_as_its_plates() -> None:
    drawing = south()
    (pad,) = (pad for pad in drawing.pads if pad.mark == "S3")
    assert len(pad.shims) == 2  # 1/8 in and 1/16 in
    assert max(shim.y + shim.height for shim in pad.shims) == pytest.approx(
        pad.top, abs=0.2
    )
    thick = sum(shim.height for shim in pad.shims)
    per_mm = (pad.top - drawing.datum_y) / 5.2
    assert thick == pytest.approx(4.7625 * per_mm, abs=0.2)


def test_the_thickest_plate_of_a_stack_lies_lowest() -> None:
    (pad,) = (pad for pad in south().pads if pad.mark == "S3")
    lowest, *_, highest = pad.shims
    assert lowest.height > highest.height
    assert lowest.y > highest.y


def test_a_pad_beyond_shims_is_referred_and_an_unread_one_says_so() -> None:
    pads = {pad.mark: pad for pad in south().pads}
    assert pads["S4"].refer
    assert not pads["S3"].refer
    assert (pads["S5"].verdict, pads["S5"].mm) == ("unmeasured", None)


def test_a_long_wall_is_drawn_in_parts_with_room_between_pads() -> None:
    plan = samples.rectangle(bays=16, bay=25 * samples.FOOT, jambs=8)
    drawings = draw_profiles(plan, samples.result(plan))
    assert sum(len(drawing.pads) for drawing in drawings) == len(plan.positions)
    for drawing in drawings:
        assert len(drawing.pads) <= MAX_PADS_PER_PROFILE
        places = np.array([pad.x for pad in drawing.pads])
        assert (np.diff(places) >= MIN_PAD_SPACING_UNITS - 0.2).all()
        assert places.min() > 20
        assert places.max() < drawing.width - 20


def test_pads_on_no_wall_have_a_profile_of_their_own() -> None:
    plan = samples.l_shape()
    titles = [d.title for d in draw_profiles(plan, samples.result(plan))]
    assert titles[-1] == "Inside"


def test_nothing_is_drawn_before_a_level_is_read() -> None:
    plan = samples.rectangle()
    unread = dict.fromkeys((p.mark for p in plan.positions), None)
    assert draw_profiles(plan, samples.result(plan, heights=unread)) == ()
    assert draw_profiles(plan, None) == ()


def test_a_profile_is_well_formed_and_ids_differ() -> None:
    plan = samples.rectangle()
    drawings = draw_profiles(plan, samples.result(plan, heights=HEIGHTS))
    trees = [
        ElementTree.fromstring(render_svg("profile", d, "imperial"))  # noqa: S314 - ours
        for d in drawings
    ]
    ids = [item.get("id") for tree in trees for item in tree.iter() if item.get("id")]
    assert len(ids) == len(set(ids)) == 2 * len(drawings)
