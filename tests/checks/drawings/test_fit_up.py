"""The drawing of the fit-up: plates where they stand, the worst bay marked."""

import copy
import re
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from checks.drawings.fit_up import (
    TURN_FACTOR,
    FitUpDrawing,
    draw_fit_up,
    find_worst_element,
)
from checks.drawings.svg import render_svg
from jobs.anchor_plan.values import Plan
from tests.checks.drawings import samples

SVG = "{http://www.w3.org/2000/svg}"


def fit_up_of(plan: Plan, **members: Any) -> Any:
    """A fit-up in which every plate stands where it is planned."""
    return {
        "misfit": -2.0,
        "slack": 2.0,
        "goes_together_as_read": True,
        "grid": {"x": 0.0, "y": 0.0, "turn": 0.0, "least": 0.0},
        "probability": None,
        "probability_bound": None,
        "conclusion": None,
        "worst": [],
        "bays": [],
        "frames": [],
        "open": [],
        "plates": [
            {"mark": p.mark, "shift_along": 0.0, "shift_in": 0.0, "turn": 0.0}
            for p in plan.positions
        ],
        "not_included": [],
        **copy.deepcopy(members),
    }


def corners_of(points: str) -> Any:
    return np.array([[float(v) for v in p.split(",")] for p in points.split()])


def plate_of(drawing: FitUpDrawing, mark: str) -> Any:
    return next(plate for plate in drawing.plates if plate.mark == mark)


def parse_drawing(drawing: FitUpDrawing) -> ElementTree.Element:
    return ElementTree.fromstring(render_svg("fit_up", drawing, "imperial"))  # noqa: S314 -- ours


BAY = {"marks": ["S2", "S1"], "misfit": 1.2, "missing_length": 3.175}


@pytest.mark.parametrize(
    "plan", [samples.rectangle(), samples.l_shape(), samples.metric()]
)
def test_every_plate_bay_and_frame_is_drawn(plan: Plan) -> None:
    drawing = draw_fit_up(plan, fit_up_of(plan))
    assert [plate.mark for plate in drawing.plates] == [p.mark for p in plan.positions]
    assert {plate.state for plate in drawing.plates} == {"stands"}
    assert {pair.state for pair in drawing.pairs} <= {""}
    tree = parse_drawing(drawing)
    links = [each for each in tree.iter() if each.get("class") == "place"]
    assert len(links) == len(plan.positions)


def test_a_plate_is_drawn_off_its_place_by_shift_times_factor_times_scale() -> None:
    plan = samples.rectangle()
    fit_up = fit_up_of(plan)
    fit_up["plates"][0] |= {"shift_along": 2.0, "shift_in": -1.0}
    drawing = draw_fit_up(plan, fit_up)
    plate = drawing.plates[0]
    move = corners_of(plate.placed) - corners_of(plate.planned)
    assert np.ptp(move, axis=0) == pytest.approx([0, 0], abs=0.02)
    # Wall SW-SE runs along x, its inside is up; y is down on the sheet.
    assert move[0, 0] == pytest.approx(2 * move[0, 1], abs=0.03)
    assert move[0, 0] > 0
    outline = np.array(
        [[float(v) for v in p.split()] for p in re.split("[ML]", drawing.planned)[1:5]]
        if " Z" not in drawing.planned
        else [
            [float(v) for v in p.split()]
            for p in re.split("[ML]", drawing.planned.removesuffix(" Z"))[1:]
        ]
    )
    wide = max(corner.x for corner in plan.outline)
    scale = np.ptp(outline[:, 0]) / wide
    assert move[0, 0] == pytest.approx(2.0 * drawing.shift_factor * scale, abs=0.05)
    legend = " ".join(entry.text for entry in drawing.legend)
    assert f"{drawing.shift_factor:g}" in legend
    assert "not to scale" in legend


def test_a_turned_plate_is_drawn_counter_clockwise_and_said_times_how_much() -> None:
    plan = samples.rectangle()
    fit_up = fit_up_of(plan)
    fit_up["plates"][0]["turn"] = 0.005
    drawing = draw_fit_up(plan, fit_up)
    planned, placed = (
        corners_of(points) - corners_of(points).mean(axis=0)
        for points in (drawing.plates[0].planned, drawing.plates[0].placed)
    )
    (ax, ay), (bx, by) = planned[0], placed[0]
    angle = np.arctan2(ax * by - ay * bx, ax * bx + ay * by)
    assert angle == pytest.approx(-0.005 * TURN_FACTOR, abs=0.004)  # y is down
    assert f"{TURN_FACTOR}" in drawing.legend[-1].text


def test_the_worst_bay_is_marked_with_what_it_lacks() -> None:
    plan = samples.rectangle()
    other = {"marks": ["S2", "S3"], "misfit": 0.4, "missing_length": 1.0}
    fit_up = fit_up_of(plan, bays=[BAY, other], goes_together_as_read=False)
    drawing = draw_fit_up(plan, fit_up, units="imperial")
    by_state = {pair.state: pair for pair in drawing.pairs}
    assert by_state["worst"] is drawing.pairs[-1]  # over the others
    assert "S1" in by_state["worst"].title
    assert by_state["worst"].amount_mm == 3.175
    assert by_state["failing"].amount_mm is None
    text = "".join(parse_drawing(drawing).itertext())
    assert "1\N{FRACTION SLASH}8\N{DOUBLE PRIME} missing" in text
    assert "The bay S2 to S1 lacks most." in drawing.description
    shown = {entry.line_class for entry in drawing.legend}
    assert {"pair worst", "pair failing"} <= shown


def test_where_no_length_would_do_the_holes_are_said_short() -> None:
    plan = samples.rectangle()
    bay = BAY | {"missing_length": None}
    drawing = draw_fit_up(plan, fit_up_of(plan, bays=[bay]), units="metric")
    assert drawing.pairs[-1].amount_mm == 1.2
    assert "short in each hole" in drawing.pairs[-1].title


def test_a_plate_to_open_shows_its_hole() -> None:
    plan = samples.rectangle()
    fit_up = fit_up_of(plan, open=[{"mark": "S2", "hole": 30.1625, "exact": 29.6}])
    drawing = draw_fit_up(plan, fit_up, units="imperial")
    plate = plate_of(drawing, "S2")
    assert (plate.state, plate.hole_mm) == ("opened", 30.1625)
    text = "".join(parse_drawing(drawing).itertext())
    assert "S2 to 1 3\N{FRACTION SLASH}16\N{DOUBLE PRIME}" in re.sub(r"\s+", " ", text)
    assert "To open: S2." in drawing.description


def test_what_takes_no_part_differs_by_line_and_title() -> None:
    plan = samples.rectangle()
    fit_up = fit_up_of(plan, not_included=[{"mark": "S1", "reason": "no_plate"}])
    fit_up["plates"] = [p for p in fit_up["plates"] if p["mark"] not in ("S1", "S2")]
    drawing = draw_fit_up(plan, fit_up)
    left_out, alone = plate_of(drawing, "S1"), plate_of(drawing, "S2")
    assert (left_out.state, alone.state) == ("left-out", "alone")
    assert left_out.placed == alone.placed == ""
    assert "not in the fit-up" in left_out.title
    assert "does not go on" in alone.title
    assert {"plate-line alone", "plate-line left-out"} <= {
        entry.line_class for entry in drawing.legend
    }


def test_the_worst_is_the_one_with_the_largest_misfit_of_bays_and_frames() -> None:
    plan = samples.rectangle()
    frame = {"marks": ["S1", "N1"], "misfit": 1.3, "missing_length": 2.0}
    assert find_worst_element(fit_up_of(plan, bays=[BAY], frames=[frame])) == (
        "frame",
        frame,
    )
    slack = BAY | {"misfit": -0.5, "missing_length": 0.0}
    assert find_worst_element(fit_up_of(plan, bays=[slack])) is None


def test_positions_link_to_their_pages() -> None:
    plan = samples.rectangle()
    drawing = draw_fit_up(plan, fit_up_of(plan), href=lambda mark: f"/at/{mark}")
    links = [item.get("href") for item in parse_drawing(drawing).iter(f"{SVG}a")]
    assert links == [f"/at/{position.mark}" for position in plan.positions]
