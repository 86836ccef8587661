"""Point files read and matched to a plan."""

import pytest

from jobs.exchange.input.parser import parse_building
from jobs.exchange.issues import DocumentError
from jobs.exchange.points.point_file import (
    COLUMN_ORDERS,
    MAX_POINTS,
    SurveyPoint,
    read_points,
)
from jobs.exchange.points.point_matching import PointTarget, match_points
from tests.example_buildings import shed

PLAN = parse_building(shed()).plan  # corners A to D, positions S1 to N3, rods 1 to 4
COMMA = b"101,5000.123,3000.45,100.02,A\n102,5000.1,3066.455,100.1,S1.1 , 3/4 rod\n"


def point(description="", name="101"):
    return SurveyPoint(
        name=name, northing=0, easting=0, elevation=0, description=description, line=1
    )


@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_a_file_with_separators_is_read(sign):
    found = read_points(COMMA.replace(b",", sign.encode()), unit="m")
    first, second = found.points
    assert first == SurveyPoint(
        name="101",
        northing=5_000_123.0,
        easting=3_000_450.0,
        elevation=100_020.0,
        description="A",
        line=1,
    )
    assert (
        second.description == f"S1.1 {sign.strip()}{' ' if sign.strip() else ''}3/4 rod"
    )
    assert (found.decimals, found.level_decimals) == (3, 2)


def test_a_file_with_spaces_is_read():
    found = read_points(b"1  10.0 20.0  5.5  CORNER A\n2 11.0 21.0 5.5\n", unit="m")
    assert found.delimiter == "space"
    assert [each.description for each in found.points] == ["CORNER A", ""]


def test_decimals_written_with_a_comma_are_told():
    with pytest.raises(DocumentError) as error:
        read_points(COMMA.replace(b",", b";").replace(b".", b","), unit="m")
    told = {each.where: each.message for each in error.value.issues}
    assert told["line 1, northing"] == (
        "“5000,123” is no number, so this is no point. Write decimals with a point."
    )


def test_the_order_of_columns_is_a_choice():
    northing_first, easting_first = COLUMN_ORDERS
    (found,) = read_points(b"1,10,20,5,A", unit="m", order=easting_first).points
    assert (found.easting, found.northing) == (10_000, 20_000)
    (found,) = read_points(b"1,10,20,5,A", unit="m", order=northing_first).points
    assert (found.easting, found.northing) == (20_000, 10_000)


def test_units_are_exact():
    content = b"1,3937,39.37,0,A"
    (found,) = read_points(content, unit="survey_ft").points
    assert found.northing == 1_200_000
    (found,) = read_points(content, unit="ft").points
    assert found.northing == pytest.approx(3937 * 304.8, abs=1e-9)


def test_points_without_elevation_are_read():
    found = read_points(b"1,10,20,A corner\n2,10,30,,B\n3,10,40\n", unit="m")
    assert [each.elevation for each in found.points] == [None, None, None]
    assert [each.description for each in found.points] == ["A corner", "B", ""]


def test_lines_that_are_no_points_are_told():
    found = read_points(
        b"Point,Northing,Easting,Elev,Desc\n1,10,20,5,A\n\n2,1O,20,5,B\n9\n,1,2,3\n"
        b"1,11,20,5,C\n",
        unit="m",
    )
    told = {each.where: each.message for each in found.ignored}
    assert "“Northing” is no number" in told["line 1, northing"]
    assert "“1O” is no number" in told["line 4, northing"]
    assert "fewer than 3 columns" in told["line 5"]
    assert told["line 6, point"] == "This point has no name."
    assert told["line 7, point"] == "The name 1 appears twice."
    assert len(found.points) == 2


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "No line of this file is a point"),
        (b"\xff\xfe", "not UTF-8"),
        (b"Dear Sirs, we measured, as you asked", "No line of this file is a point"),
        (b"1,nan,inf,0,A\n", "No line of this file is a point"),
        (b"1,1e400,2,0,A\n", "No line of this file is a point"),
        (b"1,2,3,4,A\n" * (MAX_POINTS + 1), "more than 20000 lines"),
        (bytes(4_000_001), "at most 4 MB"),
    ],
)
def test_what_is_no_point_file_is_refused_in_words(content, says):
    with pytest.raises(DocumentError, match=says):
        read_points(content, unit="m")


# Matching


@pytest.mark.parametrize(
    ("description", "target"),
    [
        ("A", "corner A"),
        ("corner b", "corner B"),
        ("COR C", "corner C"),
        ("S1.2", "rod S1.2"),
        ("s1-2", "rod S1.2"),
        ("N3 4", "rod N3.4"),
        ("N3 R4", "rod N3.4"),
        ("AB N3.4", "rod N3.4"),
        ("rod S2/1", "rod S2.1"),
        ("S2", "pad S2"),
        ("PAD S2", "pad S2"),
        ("BM 1", "benchmark BM 1"),
        ("TBM-hydrant", "benchmark TBM-hydrant"),
    ],
)
def test_points_are_matched_by_their_description(description, target):
    (match,) = match_points(PLAN, [point(description)])
    assert match.label == target


@pytest.mark.parametrize(
    ("description", "name", "why"),
    [
        ("edge of walk", "101", "match nothing on the plan"),
        ("", "1", "match nothing on the plan"),
        ("S1.9", "101", "The rods of S1 are numbered 1 to 4."),
        ("pad A", "101", "match nothing on the plan"),
        ("A few trees", "101", "match nothing on the plan"),
    ],
)
def test_points_that_name_nothing_say_why(description, name, why):
    (match,) = match_points(PLAN, [point(description, name)])
    assert match.target is None
    assert why in match.reason


def test_a_name_serves_where_the_description_says_nothing():
    assert match_points(PLAN, [point("", "S1.2")])[0].label == "rod S1.2"
    assert match_points(PLAN, [point("nail", "B")])[0].label == "corner B"
    assert match_points(PLAN, [point("S1.3", "S1.2")])[0].rod == 3


def test_what_could_be_two_things_is_settled_by_a_word():
    document = shed()
    document["positions"][0]["mark"] = "A"
    plan = parse_building(document).plan
    (match,) = match_points(plan, [point("A")])
    assert match.target is None
    assert "could be corner A or pad A" in match.reason
    assert match_points(plan, [point("corner A")])[0].target is PointTarget.CORNER
    assert match_points(plan, [point("A pad")])[0].target is PointTarget.PAD
