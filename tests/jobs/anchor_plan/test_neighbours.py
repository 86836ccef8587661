"""Which positions are neighbours along a wall and across a frame."""

import math
from itertools import pairwise

import pytest

from jobs.anchor_plan.neighbours import (
    find_bays,
    find_facing_pairs,
    find_spans,
)
from jobs.anchor_plan.values import Corner, Detail, Plan, Position, Rod

HALL = ((0, 0), (24000, 0), (24000, 15000), (0, 15000))
SIDE, END, FAR, START = ("C0", "C1"), ("C1", "C2"), ("C2", "C3"), ("C3", "C0")


def build_plan(outline, *positions):
    return Plan(
        name="made for a test",
        length_unit="mm",
        outline=tuple(
            Corner(name=f"C{n}", x=float(x), y=float(y))
            for n, (x, y) in enumerate(outline)
        ),
        diagonals=(),
        details={
            "D": Detail(
                name="D",
                reference="centreline",
                rods=(Rod(number=1, along=0.0, inward=150.0, diameter=20.0),),
            )
        },
        positions=positions,
    )


def on_wall(mark, wall, along):
    return Position(mark=mark, detail="D", wall=wall, along=float(along))


def at_point(mark, x, y):
    return Position(mark=mark, detail="D", x=float(x), y=float(y), turn=0.0)


def frames(*alongs):
    """Columns S1.. on one side wall, N1.. straight across from them."""
    return (
        *(on_wall(f"S{n}", SIDE, x) for n, x in enumerate(alongs, start=1)),
        *(on_wall(f"N{n}", FAR, 24000 - x) for n, x in enumerate(alongs, start=1)),
    )


def name(plan, pairs):
    return {
        (plan.positions[p.first].mark, plan.positions[p.second].mark): p.nominal_mm
        for p in pairs
    }


def test_a_hall_has_bays_along_its_side_walls_and_spans_across_its_frames():
    plan = build_plan(HALL, *frames(500, 8000, 16000))
    assert name(plan, find_bays(plan)) == {
        ("S1", "S2"): 7500,
        ("S2", "S3"): 8000,
        # The far wall runs the other way: in the order of `along`.
        ("N3", "N2"): 8000,
        ("N2", "N1"): 7500,
    }
    spans = find_spans(plan)
    assert name(plan, spans) == dict.fromkeys(
        (("S1", "N1"), ("S2", "N2"), ("S3", "N3")), 15000
    )
    assert [pair.direction for pair in spans] == [pytest.approx((0, 1))] * 3
    directions = [pair.direction for pair in find_bays(plan)]
    assert directions == [pytest.approx(d) for d in ((1, 0), (1, 0), (-1, 0), (-1, 0))]


def test_bays_do_not_depend_on_the_order_of_positions_in_the_plan():
    marks = frames(500, 8000, 16000)
    plan = build_plan(HALL, *marks)
    mixed = build_plan(HALL, marks[4], marks[2], marks[0], marks[5], marks[1], marks[3])
    assert name(mixed, find_bays(mixed)) == name(plan, find_bays(plan))
    spans = {frozenset(ends) for ends in name(plan, find_spans(plan))}
    assert {frozenset(ends) for ends in name(mixed, find_spans(mixed))} == spans


def test_end_walls_have_bays_of_their_own_and_no_frame_crosses_the_frames():
    ends = (
        *(on_wall(f"E{n}", END, y) for n, y in ((1, 5000), (2, 10000))),
        *(on_wall(f"W{n}", START, 15000 - y) for n, y in ((1, 5000), (2, 10000))),
    )
    plan = build_plan(HALL, *ends, *frames(500, 8000, 16000))
    bays = name(plan, find_bays(plan))
    assert bays[("E1", "E2")] == bays[("W2", "W1")] == 5000
    assert set(name(plan, find_spans(plan))) == {
        ("S1", "N1"),
        ("S2", "N2"),
        ("S3", "N3"),
    }
    facing = name(plan, find_facing_pairs(plan))
    assert facing[("E1", "W1")] == facing[("E2", "W2")] == 24000
    assert len(facing) == 5


def test_of_equally_many_pairs_that_cross_the_shorter_are_the_frames():
    plan = build_plan(
        HALL,
        on_wall("E1", END, 5000),
        on_wall("W1", START, 10000),
        *frames(8000),
    )
    assert set(name(plan, find_spans(plan))) == {("S1", "N1")}


def test_columns_of_end_walls_alone_face_each_other_along_the_building():
    plan = build_plan(HALL, on_wall("E1", END, 5000), on_wall("W1", START, 10000))
    assert name(plan, find_spans(plan)) == {("E1", "W1"): 24000}


# The wing lies to the north of the left half:
#   (0,30000) +-----+ (12000,30000)
#             | wing|
#             |     +-----------+ (30000,12000)
#             |                 |
#       (0,0) +-----------------+
L_SHAPE = (
    (0, 0),
    (30000, 0),
    (30000, 12000),
    (12000, 12000),
    (12000, 30000),
    (0, 30000),
)


COURT = (
    (0, 0),
    (5000, 0),
    (5000, 8000),
    (15000, 8000),
    (15000, 0),
    (20000, 0),
    (20000, 12000),
    (0, 12000),
)
"""A court open to the south between two wings."""


def test_in_an_l_shape_the_nearest_opposite_wall_is_across():
    plan = build_plan(
        L_SHAPE,
        on_wall("S1", ("C0", "C1"), 6000),
        on_wall("S2", ("C0", "C1"), 18000),
        on_wall("S3", ("C0", "C1"), 24000),
        on_wall("T2", ("C2", "C3"), 12000),
        on_wall("T3", ("C2", "C3"), 6000),
        on_wall("R1", ("C3", "C4"), 6000),
        on_wall("R2", ("C3", "C4"), 12000),
        on_wall("L1", ("C5", "C0"), 12000),
        on_wall("L2", ("C5", "C0"), 6000),
        on_wall("G", ("C4", "C5"), 6000),
    )
    assert name(plan, find_spans(plan)) == {
        ("S2", "T2"): 12000,
        ("S3", "T3"): 12000,
        ("R1", "L1"): 12000,
        ("R2", "L2"): 12000,
    }
    # The gable column of the wing faces S1 along the whole of it.
    assert name(plan, find_facing_pairs(plan))[("S1", "G")] == 30000


def test_a_wall_in_between_keeps_positions_apart():
    # A and B face each other across the court only from outside.
    plan = build_plan(
        COURT,
        on_wall("A", ("C7", "C0"), 8000),
        on_wall("B", ("C5", "C6"), 4000),
        on_wall("C", ("C1", "C2"), 4000),
        on_wall("D", ("C3", "C4"), 4000),
    )
    assert name(plan, find_spans(plan)) == {("A", "C"): 5000, ("B", "D"): 5000}


def test_a_frame_at_the_inner_corner_of_an_l_shape_reaches_the_wall_beside_it():
    plan = build_plan(
        L_SHAPE,
        on_wall("S1", ("C0", "C1"), 12000),
        on_wall("T1", ("C2", "C3"), 18000),
    )
    assert name(plan, find_spans(plan)) == {("S1", "T1"): 12000}


def test_walls_of_a_skewed_outline_face_each_other_square_to_them():
    # A parallelogram: the far wall is shifted by 4 m, so along counts from there.
    skewed = ((0, 0), (20000, 0), (24000, 12000), (4000, 12000))
    plan = build_plan(
        skewed,
        on_wall("S1", SIDE, 10000),
        on_wall("N1", FAR, 14000),
        on_wall("N2", FAR, 10000),
    )
    spans = find_spans(plan)
    assert name(plan, spans) == {("S1", "N1"): pytest.approx(12000)}
    assert spans[0].direction == pytest.approx((0, 1))


def test_walls_that_are_not_parallel_carry_no_frame():
    wedge = ((0, 0), (20000, 0), (20000, 12000), (0, 10000))
    plan = build_plan(wedge, on_wall("S1", SIDE, 10000), on_wall("N1", FAR, 10050))
    assert find_spans(plan) == ()


def test_a_turned_building_has_the_same_neighbours():
    turn = 0.4
    turned = [
        (
            x * math.cos(turn) - y * math.sin(turn),
            x * math.sin(turn) + y * math.cos(turn),
        )
        for x, y in HALL
    ]
    straight = build_plan(HALL, *frames(500, 8000, 16000))
    plan = build_plan(turned, *frames(500, 8000, 16000))
    for find in (find_bays, find_spans):
        want = name(straight, find(straight))
        assert name(plan, find(plan)) == pytest.approx(want, abs=1e-6)
    assert find_spans(plan)[0].direction == pytest.approx(
        (-math.sin(turn), math.cos(turn))
    )


def test_coordinates_within_a_millimetre_are_one_line_and_beyond_are_not():
    near = build_plan(HALL, on_wall("S1", SIDE, 8000), on_wall("N1", FAR, 16000 + 0.99))
    assert set(name(near, find_spans(near))) == {("S1", "N1")}
    off = build_plan(HALL, on_wall("S1", SIDE, 8000), on_wall("N1", FAR, 16000 + 1.01))
    assert find_spans(off) == ()


def test_a_longer_row_of_point_positions_pairs_each_with_the_next_only():
    xs = (6000, 12000, 20000)
    plan = build_plan(HALL, *(at_point(f"K{x}", x, 7000) for x in (20000, 6000, 12000)))
    want = {frozenset((f"K{a}", f"K{b}")): b - a for a, b in pairwise(xs)}
    bays = name(plan, find_bays(plan))
    assert {frozenset(ends): mm for ends, mm in bays.items()} == want
    assert find_spans(plan) == ()


def test_an_interior_column_stands_between_the_columns_of_its_frame():
    plan = build_plan(
        HALL,
        *frames(8000, 16000),
        at_point("K1", 8000, 7000),
        at_point("K2", 16000, 7000),
        at_point("K3", 12000, 9000),
    )
    assert name(plan, find_spans(plan)) == {
        ("S1", "N1"): 15000,
        ("S2", "N2"): 15000,
        ("S1", "K1"): 7000,
        ("N1", "K1"): 8000,
        ("S2", "K2"): 7000,
        ("N2", "K2"): 8000,
    }
    assert name(plan, find_bays(plan))[("K1", "K2")] == 8000
    pair = next(p for p in find_spans(plan) if p.nominal_mm == 8000)
    assert pair.direction == pytest.approx((0, -1))


def test_in_a_hall_whose_frames_run_along_x_the_points_follow_them():
    tall = ((0, 0), (15000, 0), (15000, 24000), (0, 24000))
    plan = build_plan(
        tall,
        *(on_wall(f"E{n}", END, y) for n, y in ((1, 8000), (2, 16000))),
        *(on_wall(f"W{n}", START, 24000 - y) for n, y in ((1, 8000), (2, 16000))),
        at_point("K1", 7000, 8000),
        at_point("K2", 7000, 16000),
    )
    assert ("E1", "K1") in name(plan, find_spans(plan))
    assert name(plan, find_bays(plan))[("K1", "K2")] == 8000


def test_a_wall_between_two_point_positions_keeps_them_apart():
    plan = build_plan(L_SHAPE, at_point("K1", 6000, 20000), at_point("K2", 20000, 6000))
    across = build_plan(
        COURT,
        at_point("K1", 2500, 4000),
        at_point("K2", 17500, 4000),
    )
    assert find_bays(plan) == find_spans(plan) == ()
    assert find_bays(across) == ()


@pytest.mark.parametrize("positions", [(), frames(8000)[:1], (at_point("K", 5, 5),)])
def test_one_position_or_none_has_no_neighbours(positions):
    plan = build_plan(HALL, *positions)
    assert find_bays(plan) == find_spans(plan) == find_facing_pairs(plan) == ()


def test_the_first_of_coincident_positions_stands_for_the_place():
    plan = build_plan(
        HALL,
        on_wall("S1", SIDE, 8000),
        on_wall("S1b", SIDE, 8000.5),
        on_wall("S2", SIDE, 16000),
        on_wall("N1", FAR, 16000),
    )
    assert set(name(plan, find_bays(plan))) == {("S1", "S2")}
    assert set(name(plan, find_spans(plan))) == {("S1", "N1")}
    points = build_plan(HALL, at_point("K1", 500, 500), at_point("K2", 500, 500))
    assert find_bays(points) == find_spans(points) == ()


def test_neighbours_do_not_depend_on_where_the_plan_has_its_origin():
    shift = 2_000_000.0
    moved = build_plan(
        [(x + shift, y - shift) for x, y in HALL], *frames(500, 8000, 16000)
    )
    plan = build_plan(HALL, *frames(500, 8000, 16000))
    for find in (find_bays, find_spans):
        assert name(moved, find(moved)) == pytest.approx(name(plan, find(plan)))
