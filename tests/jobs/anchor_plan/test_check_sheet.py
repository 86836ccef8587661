"""The check sheet and its keys."""

import dataclasses
import math
import time

import pytest

from core.units import parse_length
from jobs.anchor_plan.check_keys import PAIR_KINDS, CheckKind
from jobs.anchor_plan.check_sheet import (
    UnknownCheckError,
    build_check_sheet,
    find_check,
)
from jobs.anchor_plan.planned_checks import adjacent_rods
from jobs.anchor_plan.values import Detail, Position, Rod
from tests.jobs.exchange.example import plan


def test_the_sheet_follows_the_walk():
    kinds = [check.kind for check in build_check_sheet(plan())]
    order = list(dict.fromkeys(kinds))
    assert order == [
        CheckKind.DIAGONAL,
        CheckKind.WALL,
        CheckKind.LINE,
        CheckKind.SETBACK,
        CheckKind.OFFSET,
        CheckKind.GAGE,
        CheckKind.PROJECTION,
        CheckKind.LEVEL,
        CheckKind.NOTCH_WIDTH,
        CheckKind.NOTCH_DEPTH,
        CheckKind.PLUMB,
    ]
    patterns = [
        c.mark for c in build_check_sheet(plan()) if c.kind is CheckKind.SETBACK
    ]
    assert patterns == ["S1"] * 4 + ["K7"] * 4


def test_nominals_come_from_the_plan():
    nominal = {check.key: check.nominal for check in build_check_sheet(plan())}
    # 90 ft by 48 ft is 6 x (15, 8, 17): the diagonal is 102 ft
    assert nominal["diagonal:SW-NE"] == pytest.approx(102 * 304.8, abs=1e-9)
    assert nominal["wall:SE-NE"] == 14630.4
    assert nominal["line:S1"] == 22.5 * 304.8
    assert nominal["setback:S1.3"] == pytest.approx(13 * 25.4)
    assert nominal["offset:S1.1"] == -63.5
    assert nominal["gage:S1.1-2"] == 127.0
    assert nominal["projection:K7.4"] == 76.2
    assert nominal["notch_width:NW-SW"] == 38.1
    assert nominal["plumb:S1.along"] == 0.0
    assert nominal["level:S1"] is None


def test_gages_and_notches_hold_no_release_up():
    waived = {check.kind for check in build_check_sheet(plan()) if not check.required}
    assert waived == {CheckKind.GAGE, CheckKind.NOTCH_WIDTH, CheckKind.NOTCH_DEPTH}


def test_levels_wait_for_the_pour_and_plumb_for_the_column():
    stages = {check.kind: check.stage for check in build_check_sheet(plan())}
    assert stages[CheckKind.PLUMB] == "erection"
    assert stages[CheckKind.LEVEL] == "verification"
    assert stages[CheckKind.SETBACK] == "foundation"


def test_a_point_position_has_no_line_and_no_wall():
    keys = [check.key for check in build_check_sheet(plan())]
    assert "line:K7" not in keys
    assert find_check(plan(), "setback:K7.1").corners == ()
    assert find_check(plan(), "setback:S1.1").corners == ("SW", "SE")


def test_a_rod_without_planned_projection_has_no_such_check():
    rod = Rod(number=1, along=0.0, inward=50.0, diameter=20.0)
    detail = Detail(name="P", reference="web", rods=(rod,))
    bare = dataclasses.replace(plan(), details={"P": detail})
    assert CheckKind.PROJECTION not in {check.kind for check in build_check_sheet(bare)}
    with pytest.raises(UnknownCheckError, match="no projection"):
        find_check(bare, "projection:S1.1")


def test_keys_are_unique_and_every_key_finds_its_check():
    one = plan()
    keys = [check.key for check in build_check_sheet(one)]
    assert len(keys) == len(set(keys))
    assert [find_check(one, key) for key in keys] == list(build_check_sheet(one))


def test_neighbours_are_paired_row_by_row():
    points = [(-1, 0), (1, 0), (-1, 3), (1, 3), (0, 0)]
    rods = tuple(
        Rod(number=n, along=float(a), inward=float(i), diameter=1.0)
        for n, (a, i) in enumerate(points, start=1)
    )
    detail = Detail(name="D", reference="web", rods=rods)
    assert adjacent_rods(detail) == ((1, 3), (1, 5), (2, 4), (2, 5), (3, 4))


def test_either_end_names_a_diagonal_and_a_gage():
    assert find_check(plan(), "diagonal:NE-SW").key == "diagonal:SW-NE"
    assert find_check(plan(), "diagonal:NW-SE").key == "diagonal:SE-NW"
    assert find_check(plan(), "gage:S1.3-1").key == "gage:S1.1-3"


def test_any_two_rods_have_a_gage_though_it_is_not_asked_for():
    check = find_check(plan(), "gage:S1.4-1")
    assert check.key == "gage:S1.1-4"
    assert check.nominal == pytest.approx(math.hypot(127, 127))
    assert not check.required


def test_a_diagonal_that_is_not_asked_for_can_be_read():
    one = plan(diagonals=[["SE", "NW"]])
    check = find_check(one, "diagonal:NE-SW")
    assert (check.key, check.required) == ("diagonal:SW-NE", False)
    assert find_check(one, "diagonal:SE-NW").required


def test_benchmarks_and_samples_are_named_freely():
    assert find_check(plan(), "benchmark:TP 1").name == "TP 1"
    sample = find_check(plan(), "strength:c:3")
    assert sample.name == "c:3"
    assert sample.nominal == pytest.approx(24.131650, abs=1e-5)  # 3500 psi


def test_bays_and_spans_are_optional_and_found_from_either_end():
    one = neighbours()
    listed = {c.key: c for c in build_check_sheet(one) if c.kind in PAIR_KINDS}
    assert list(listed) == ["bay:S1-S2", "bay:S2-S3", "span:S1-N1"]
    assert not any(check.required for check in listed.values())
    bay = find_check(one, "bay:S3-S2")
    assert (bay.key, bay.marks, bay.mark) == ("bay:S2-S3", ("S2", "S3"), None)
    assert bay.nominal == pytest.approx(25 * 304.8)
    assert bay.description == "the bay S2 to S3"
    span = find_check(one, "span:N1-S1")
    assert (span.key, span.nominal) == ("span:S1-N1", pytest.approx(48 * 304.8))


def test_columns_of_end_walls_can_be_read_across_though_no_frame_joins_them():
    ends = (("W1", ("NW", "SW"), "20'"), ("E1", ("SE", "NE"), "28'"))
    one = neighbours(*ends)
    assert "span:W1-E1" not in {check.key for check in build_check_sheet(one)}
    assert find_check(one, "span:E1-W1").nominal == pytest.approx(90 * 304.8)


@pytest.mark.parametrize(
    ("key", "message"),
    [
        ("bay:S1-S3", "no two positions that follow each other along a wall"),
        ("bay:S1-N1", "the bays are S1-S2, S2-S3"),
        ("span:S1-S2", "no two positions that face each other across a frame"),
        ("span:S2-N1", "the spans are S1-N1"),
        ("span:", "the spans are S1-N1"),
    ],
)
def test_positions_that_are_no_neighbours_have_no_such_check(key, message):
    with pytest.raises(UnknownCheckError, match=message):
        find_check(neighbours(), key)


def test_a_plan_without_neighbours_says_so():
    with pytest.raises(UnknownCheckError, match="the plan has no bay"):
        find_check(plan(), "bay:S1-K7")


def test_marks_with_hyphens_are_found_unless_two_pairs_share_a_key():
    walls = (("SW", "SE"), ("NE", "NW"))
    hyphens = neighbours(("S-4", walls[0], "80'"), ("S-5", walls[0], "85'"))
    assert find_check(hyphens, "bay:S-5-S-4").marks == ("S-4", "S-5")
    # "A-B-C" can be A and B-C on one wall, or A-B and C on the other.
    shared = neighbours(
        ("A", walls[0], "80'"),
        ("B-C", walls[0], "85'"),
        ("A-B", walls[1], "70'"),
        ("C", walls[1], "80'"),
    )
    with pytest.raises(UnknownCheckError, match="A and B-C or A-B and C"):
        find_check(shared, "bay:A-B-C")
    assert "bay:A-B-C" not in {check.key for check in build_check_sheet(shared)}


def neighbours(*positions):
    """The plan with a row of positions, and one more across the first."""
    rows = (
        ("S1", ("SW", "SE"), "22'-6\""),
        ("S2", ("SW", "SE"), "40'"),
        ("S3", ("SW", "SE"), "65'"),
        ("N1", ("NE", "NW"), "67'-6\""),
        *positions,
    )
    return dataclasses.replace(
        plan(),
        positions=tuple(
            Position(
                mark=mark,
                detail="P",
                wall=wall,
                along=float(parse_length(along).mm),
            )
            for mark, wall, along in rows
        ),
    )


def test_names_with_hyphens_dots_and_colons_are_found():
    positions = (
        Position(mark="A.1", detail="P", wall=("SW", "SE"), along=10.0),
        Position(mark="A:1-2", detail="P", wall=("SW", "SE"), along=20.0),
    )
    odd = dataclasses.replace(plan(), positions=positions)
    assert find_check(odd, "setback:A.1.2").mark == "A.1"
    assert find_check(odd, "gage:A:1-2.2-1").key == "gage:A:1-2.1-2"
    assert find_check(odd, "plumb:A.1.in").axis == "in"


@pytest.mark.parametrize(
    ("key", "hint"),
    [
        ("", "one of diagonal, wall"),
        ("hello", "one of diagonal, wall"),
        ("girth:S1", "one of diagonal, wall"),
        ("wall", "one of diagonal, wall"),
        ("wall:SE-SW", "SW-SE, SE-NE"),
        ("notch_width:SE-SW", "SW-SE, SE-NE"),
        ("diagonal:SW-SE", "share no wall"),
        ("diagonal:SW-SW", "share no wall"),
        ("diagonal:SW", "share no wall"),
        ("line:S9", "it has S1, K7"),
        ("line:s1", "did you mean S1"),
        ("line:K7", "is at a point"),
        ("setback:S1", "numbered 1 to 4"),
        ("setback:S1.5", "numbered 1 to 4"),
        ("setback:S1.01", "numbered 1 to 4"),
        ("setback:S1.0", "numbered 1 to 4"),
        ("offset:S9.1", "no position .S9"),
        ("gage:S1.1-1", "two different rods"),
        ("gage:S1.1", "two different rods"),
        ("gage:S1.1-9", "two different rods"),
        ("plumb:S1", "plumb:S1.in or plumb:S1.along"),
        ("plumb:S1.up", "plumb:S1.in or plumb:S1.along"),
        ("benchmark:", "benchmark:NAME"),
        ("strength: A", "strength:NAME"),
    ],
)
def test_an_unknown_key_is_refused_with_what_there_is(key, hint):
    with pytest.raises(UnknownCheckError, match=hint):
        find_check(plan(), key)


def test_without_a_notch_there_is_nothing_to_check_on_it():
    bare = dataclasses.replace(plan(), notch=None)
    with pytest.raises(UnknownCheckError, match="no sheeting notch"):
        find_check(bare, "notch_width:SW-SE")


def test_finding_checks_does_not_slow_down_with_the_plan():
    many = tuple(
        Position(mark=f"M{n}", detail="P", wall=("SW", "SE"), along=float(n))
        for n in range(2000)
    )
    big = dataclasses.replace(plan(), positions=many)
    build_check_sheet(big)
    start = time.perf_counter()
    for n in range(2000):
        find_check(big, f"gage:M{n}.1-4")
    assert time.perf_counter() - start < 1.0  # some 10 ms; a search would take minutes
