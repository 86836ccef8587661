"""Readings from the points of a survey."""

import re
from typing import Any

import numpy as np
import pytest

from checks.evaluation.evaluate import evaluate
from checks.evaluation.survey_readings import (
    SurveyInput,
    SurveyReduction,
    reduce_survey,
)
from core.units import MM_PER_SURVEY_FOOT
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.anchor_plan.geometry import rod_points
from jobs.exchange.input.parser import parse_building
from jobs.exchange.points.point_file import PointUnit, read_points
from jobs.exchange.points.point_matching import match_points
from tests.example_buildings import shed

PLAN = parse_building(shed()).plan
MM = {"ft": 304.8, "survey_ft": float(MM_PER_SURVEY_FOOT), "m": 1000.0, "mm": 1.0}


def lines(
    move: Any = None,
    *,
    unit: PointUnit = "m",
    decimals: int = 4,
    turn: float = 0.3,
    shift: Any = (6.1e8, 4.9e8),
) -> list[str]:
    """Survey the shed: corners, rods and pads; `move` says what is out. [mm]"""
    places = {each.name: (each.x, each.y) for each in PLAN.outline}
    for position in PLAN.positions:
        points = rod_points(PLAN, position)
        places |= {f"{position.mark}.{n}": p for n, p in enumerate(points, start=1)}
        places[f"pad {position.mark}"] = points.mean(axis=0)
    heights = {f"pad {p.mark}": 30_480.0 for p in PLAN.positions} | {"BM1": 31_000.0}
    places["BM1"] = (-5000.0, 0.0)
    for name, (dx, dy, dz) in (move or {}).items():
        places[name] = np.add(places[name], (dx, dy))
        heights[name] = heights.get(name, 30_500.0) + dz
    c, s = np.cos(turn), np.sin(turn)
    written = []
    for number, (name, (x, y)) in enumerate(places.items(), start=101):
        east, north = shift[0] + c * x - s * y, shift[1] + s * x + c * y
        values = (north, east, heights.get(name, 30_500.0))
        texts = ",".join(f"{each / MM[unit]:.{decimals}f}" for each in values)
        written.append(f"{number},{texts},{name}")
    return written


def survey(text: list[str], unit: PointUnit = "m", **more: Any) -> SurveyReduction:
    file = read_points("\n".join(text).encode(), unit=unit, order=more.pop("order", ""))
    matches = match_points(PLAN, file.points)
    given = SurveyInput(file=file, matches=matches, unit=unit, **more)
    return reduce_survey(PLAN, given)


def values(found: SurveyReduction) -> dict[str, float]:
    """Return what was read of each check, as the parser reads it. [mm]"""
    document = shed(readings=[dict(entry) for entry in found.entries])
    readings = parse_building(document).readings
    return {each.check: each.value for each in readings}


@pytest.mark.parametrize("unit", ["ft", "survey_ft", "m", "mm"])
def test_a_building_built_as_planned_reads_as_planned(unit: PointUnit) -> None:
    found = survey(lines(unit=unit), unit)
    assert not found.problem
    read = values(found)
    checks = {check.key: check for check in build_check_sheet(PLAN)}
    for key, value in read.items():
        nominal = checks[key].nominal if key in checks else None
        if nominal is not None:
            # half a unit in the fourth decimal, and what is left of a rod's line
            assert value == pytest.approx(nominal, abs=1.6e-4 * MM[unit]), key
    kinds = {checks[key].kind for key in read if key in checks}
    assert kinds == {
        CheckKind.DIAGONAL,
        CheckKind.WALL,
        CheckKind.LINE,
        CheckKind.SETBACK,
        CheckKind.OFFSET,
        CheckKind.LEVEL,
    }
    assert len(read) == 2 + 4 + 6 + 2 * 24 + 6 + 1


def test_a_pattern_moved_along_the_wall_moves_its_line() -> None:
    moved = {f"S2.{n}": (12.0, 0.0, 0.0) for n in range(1, 5)}
    read = values(survey(lines(moved, decimals=5)))
    assert read["line:S2"] == pytest.approx(33 * 304.8 + 12.0, abs=0.05)
    assert read["offset:S2.1"] == pytest.approx(-63.5, abs=0.05)


def test_one_rod_out_shares_with_its_line_and_adds_up() -> None:
    read = values(survey(lines({"S2.3": (8.0, -5.0, 0.0)}, decimals=5)))
    along = read["line:S2"] + read["offset:S2.3"]
    assert along == pytest.approx(33 * 304.8 - 63.5 + 8.0, abs=0.05)
    assert read["line:S2"] == pytest.approx(33 * 304.8 + 2.0, abs=0.05)
    assert read["setback:S2.3"] == pytest.approx(12 * 25.4 - 5.0, abs=0.05)


def test_a_wall_opposite_reads_in_its_own_axes() -> None:
    """On C to D along runs to the left of the plan, in is downward."""
    read = values(survey(lines({"N1.1": (3.0, 4.0, 0.0)}, decimals=5)))
    assert read["line:N1"] + read["offset:N1.1"] == pytest.approx(
        2 * 304.8 - 63.5 - 3.0, abs=0.05
    )
    assert read["setback:N1.1"] == pytest.approx(7 * 25.4 - 4.0, abs=0.05)


def test_a_lower_pad_has_a_larger_reading() -> None:
    found = survey(lines({"pad S3": (0.0, 0.0, -7.0)}))
    read = values(found)
    assert read["level:S3"] - read["level:S1"] == pytest.approx(7.0, abs=0.2)
    assert read["level:S1"] - read["benchmark:BM1"] == pytest.approx(520.0, abs=0.2)
    assert min(v for key, v in read.items() if key.startswith("level")) > 0
    level = next(e for e in found.entries if e["check"] == "level:S3")
    assert re.fullmatch("survey [0-9a-f]{8}", level["setup"])
    assert "invented height of instrument of 32 m" in level["note"]
    assert f"set-up {level['setup']}" in level["note"]


def test_notes_say_which_points_and_what_they_were_fitted_to() -> None:
    entries = {each["check"]: each for each in survey(lines()).entries}
    assert entries["wall:A-B"]["note"] == "point 101 to point 102"
    assert entries["setback:S1.1"]["note"] == (
        "point 105; plan axes fitted to corner A, corner B, corner C, corner D"
    )


def test_the_resolution_is_the_files_own() -> None:
    found = survey(lines(unit="ft", decimals=2), "ft")
    wall = next(e for e in found.entries if e["check"] == "wall:A-B")
    assert wall["value"] == "66.00 ft"
    reading = parse_building(shed(readings=[wall])).readings[0]
    assert reading.resolution == pytest.approx(3.048)


def test_the_same_file_gives_the_same_readings_and_ids() -> None:
    first, again = survey(lines()), survey(lines())
    assert first.entries == again.entries
    ids = [each["id"] for each in first.entries]
    assert len(set(ids)) == len(ids)


def test_a_later_file_with_more_points_says_the_same_of_the_earlier_ones() -> None:
    """A total station writes all its points each time."""
    text = lines({"S2.3": (9.0, 0.0, 0.0)})
    later = [line for line in text if not line.endswith((",S3.4", ",pad S3", ",N1.1"))]
    before = {each["check"]: each for each in survey(later).entries}
    after = {each["check"]: each for each in survey([*text, "900,1,2,3,tree"]).entries}
    touched = ("line:S3", "offset:S3", "line:N1", "offset:N1")
    same = [key for key in before if not key.startswith(touched)]
    assert len(same) > 40
    assert [before[key] for key in same] == [after[key] for key in same]
    ids = {each["id"] for each in before.values()}
    new = {key for key in after if after[key]["id"] not in ids}
    assert new >= {"setback:S3.4", "level:S3", "setback:N1.1", "line:S3", "line:N1"}


def test_another_point_of_the_same_name_is_another_reading() -> None:
    first, other = survey(lines()), survey(lines({"A": (3.0, 0.0, 0.0)}))
    ids = {each["check"]: each["id"] for each in first.entries}
    changed = {e["check"] for e in other.entries if ids[e["check"]] != e["id"]}
    assert changed == {"diagonal:A-C", "wall:A-B", "wall:D-A"}


def test_without_a_benchmark_the_pads_of_a_file_make_its_set_up() -> None:
    text = [line for line in lines() if not line.endswith("BM1")]
    less = [line for line in text if not line.endswith("pad S3")]
    setups = [
        {e["setup"] for e in survey(each).entries if e["check"].startswith("level:")}
        for each in (text, less)
    ]
    assert [len(each) for each in setups] == [1, 1]
    assert setups[0] != setups[1]


def test_a_line_past_its_corner_is_read_from_the_other_one() -> None:
    """No tape reads less than nothing: such a reading would be refused."""
    document = shed()
    document["positions"][0]["along"] = 0
    plan = parse_building(document).plan
    moved = {
        f"S1.{n}": (-609.6 - 7.0, 0.0, 0.0) for n in range(1, 5)
    }  # from 2 ft to 7 mm past the corner
    file = read_points("\n".join(lines(moved, decimals=5)).encode(), unit="m")
    given = SurveyInput(file=file, matches=match_points(plan, file.points), unit="m")
    entries = {each["check"]: each for each in reduce_survey(plan, given).entries}
    line = entries["line:S1"]
    assert line["from"] == "B"
    document["readings"] = [line]
    (reading,) = parse_building(document).readings
    assert reading.value == pytest.approx(66 * 304.8 + 7.0, abs=0.05)
    row = next(
        each
        for each in evaluate(parse_building(document))["checks"]
        if each["check"] == "line:S1"
    )
    assert row["deviation"] == pytest.approx(-7.0, abs=0.05)


@pytest.mark.parametrize(
    ("name", "apart", "told"),
    [
        ("S1.2", (0.0, 21.0), "rod S1.2: points 106, 900 are 21 mm apart"),
        ("A", (0.0, 60.0), "corner A: points 101, 900 are 60 mm apart"),
        ("S1.2", (0.0, 19.0), ""),
        ("pad S1", (0.0, 300.0), ""),
    ],
)
def test_one_name_for_two_things_is_told(
    name: str, apart: tuple[float, float], told: str
) -> None:
    text = lines()
    line = next(each for each in text if each.endswith(f",{name}"))
    _, north, east, rest = line.split(",", 3)
    text.append(
        f"900,{float(north) + apart[0] / 1000},{float(east) + apart[1] / 1000},{rest}"
    )
    found = survey(text)
    assert found.problem.startswith(told)
    assert bool(found.problem) == bool(told) == (not found.entries)


def test_one_pad_at_two_heights_is_told() -> None:
    text = lines()
    line = next(each for each in text if each.endswith(",pad N2"))
    _, north, east, height, name = line.split(",")
    text.append(f"900,{north},{east},{float(height) - 0.03:.4f},{name}")
    assert "pad N2" in survey(text).problem
    assert "30 mm apart" in survey(text).problem


def test_points_shot_twice_are_taken_together() -> None:
    text = lines()
    number, north, *rest = text[0].split(",")
    text.append(",".join(["201", f"{float(north) + 0.004:.4f}", *rest]))
    found = survey(text)
    wall = next(e for e in found.entries if e["check"] == "wall:A-B")
    assert wall["note"] == f"points {number}, 201 to point 102"


def test_rods_can_be_the_control() -> None:
    text = [line for line in lines() if line.split(",")[4] not in "ABCD"]
    assert "control points are needed" in survey(text).problem
    assert survey(text[-1:], control="both").problem.endswith("C, D, S1.1, S2.1 …")
    found = survey(text, control="rods")
    assert not found.problem
    assert len(found.control) == 24
    assert "wall:A-B" not in values(found)


# What is refused


def test_columns_in_the_wrong_order_are_told() -> None:
    found = survey(lines(), order="point easting northing elevation description")
    assert "northing and easting are most likely exchanged" in found.problem
    assert found.entries == ()


@pytest.mark.parametrize(
    ("written", "read", "likely"),
    [
        ("ft", "m", "feet"),
        ("m", "ft", "metres"),
        ("mm", "m", "mm"),
        ("m", "survey_ft", "metres"),
    ],
)
def test_the_wrong_unit_is_told_by_the_scale(
    written: PointUnit, read: PointUnit, likely: str
) -> None:
    found = survey(lines(unit=written, shift=(0, 0)), read)
    assert f"its unit is most likely {likely}" in found.problem
    assert found.fit is not None
    assert found.fit.scale == pytest.approx(MM[written] / MM[read], rel=1e-3)
    assert found.entries == ()


def test_a_control_point_far_from_its_place_is_named_and_can_be_left_out() -> None:
    text = lines({"C": (900.0, 0.0, 0.0)})
    found = survey(text)
    assert "corner C (point 103) is" in found.problem
    assert "100 mm" in found.problem
    left = survey(text, excluded_points={"103"})
    assert not left.problem
    (row,) = [each for each in left.control if not each.used]
    assert row.target == "corner C"
    assert row.residual == pytest.approx(900.0, abs=1.0)


def test_a_survey_of_nothing_on_the_plan_says_so() -> None:
    found = survey(["1,0.0,0.0,0.0,tree", "2,9.0,9.0,0.0,tree"])
    assert found.problem == (
        "At least two control points are needed. "
        "Control points need a description such as A, B, C, D …"
    )
    assert found.fit is None
