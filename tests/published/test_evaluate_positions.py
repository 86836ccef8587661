"""Rods, groups and plates as `evaluate` finds them.

Oracles: plane geometry written out, SciPy's rotation fit, and cvxpy with Clarabel for
the plate (a second-order cone problem for each turn, searched over the turn).
"""

import math
from itertools import product

import cvxpy as cp
import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation

from tests.published.contract import (
    SQUARE,
    Document,
    building,
    check,
    confirm,
    evaluate_document,
    finding,
    position,
    read,
    read_rods,
    rods,
    topics,
)

Places = list[tuple[float, float]]
BUILT: Places = [(-58.4, 151.3), (61.1, 149.6), (-60.7, 272.2), (59.3, 270.9)]


def rigid(planned: Places, built: Places) -> tuple[np.ndarray, float]:
    """Shift of the centroid and turn, by SciPy's rotation fit (no scale)."""
    plan, now = np.array(planned), np.array(built)
    flat = np.zeros((len(plan), 1))
    before = np.hstack([plan - plan.mean(axis=0), flat])
    after = np.hstack([now - now.mean(axis=0), flat])
    turn = Rotation.align_vectors(after, before)[0].as_rotvec()[2]
    return now.mean(axis=0) - plan.mean(axis=0), float(turn)


def overrun(holes: Places, built: Places, clearance: list[float]) -> float:
    """Least largest (distance - clearance) over all rigid placements. [mm]"""
    plan, now = np.array(holes), np.array(built)
    middle = plan.mean(axis=0)
    turn = cp.Parameter(2)
    shift, worst = cp.Variable(2), cp.Variable()
    inside = [
        cp.norm(
            now[i]
            - middle
            - shift
            - cp.hstack(
                [
                    turn[0] * (plan[i] - middle)[0] - turn[1] * (plan[i] - middle)[1],
                    turn[1] * (plan[i] - middle)[0] + turn[0] * (plan[i] - middle)[1],
                ]
            )
        )
        <= worst + clearance[i]
        for i in range(len(plan))
    ]
    problem = cp.Problem(cp.Minimize(worst), inside)

    def at(angle: float) -> float:
        turn.value = np.array([math.cos(angle), math.sin(angle)])
        return float(problem.solve(solver=cp.CLARABEL))

    best = minimize_scalar(
        at, bounds=(-0.2, 0.2), method="bounded", options={"xatol": 1e-9}
    )
    return float(best.fun)


# ---- rods ---------------------------------------------------------------------------


@pytest.mark.parametrize("mark", ["S", "E", "N", "W"])
def test_rods_are_where_setback_and_offset_put_them_on_every_wall(mark: str) -> None:
    found = position(evaluate_document(read_rods(building(), mark, BUILT)), mark)
    for rod, built, planned in zip(found["rods"], BUILT, SQUARE, strict=True):
        off = (built[0] - planned[0], built[1] - planned[1])
        assert (rod["along"], rod["in"]) == pytest.approx(built)
        assert (rod["d_along"], rod["d_in"]) == pytest.approx(off)
        assert rod["miss"] == pytest.approx(math.hypot(*off))
        assert rod["verdict"] == "within"
    shift, turn = rigid(list(SQUARE), BUILT)
    assert (found["shift_along"], found["shift_in"]) == pytest.approx(tuple(shift))
    assert found["turn"] == pytest.approx(turn, abs=1e-12)


def test_the_reference_lines_own_deviation_moves_its_rods() -> None:
    document = read_rods(building(), "S", BUILT)
    read(document, "line:S", "8002.5 mm", temperature="20 degC")
    found = position(evaluate_document(document), "S")
    assert [rod["along"] for rod in found["rods"]] == pytest.approx(
        [along + 2.5 for along, _ in BUILT]
    )


@pytest.mark.parametrize(
    ("mark", "wall", "length"),
    [("S", "A-B", 24e3), ("E", "B-C", 15e3), ("N", "C-D", 24e3), ("W", "D-A", 15e3)],
)
def test_a_line_counts_from_either_corner(mark: str, wall: str, length: float) -> None:
    first, second = wall.split("-")
    along = {each["mark"]: each["along"] for each in building()["positions"]}[mark]
    for corner, value in (
        (None, along + 2),
        (first, along + 2),
        (second, length - along - 2),
    ):
        members = {} if corner is None else {"from": corner}
        document = read(
            building(), f"line:{mark}", value, temperature="20 degC", **members
        )
        line = check(evaluate_document(document), f"line:{mark}")
        assert line["nominal"] == along
        assert line["deviation"] == pytest.approx(2)
        assert (line["limit"], line["verdict"]) == (pytest.approx(3.175), "within")


def test_lines_from_both_corners_are_averaged() -> None:
    document = read(building(), "line:S", 8002, temperature="20 degC")
    read(document, "line:S", 16000, temperature="20 degC", **{"from": "B"})
    assert check(evaluate_document(document), "line:S")["deviation"] == pytest.approx(1)


def test_a_gage_stands_in_for_a_missing_offset() -> None:
    # rods 1 and 2 are abreast: the gage is the difference of their offsets
    document = building()
    for number, (along, inward) in enumerate(BUILT, start=1):
        read(document, f"setback:S.{number}", inward)
        if number != 2:
            read(document, f"offset:S.{number}", along)
    gage = math.dist(BUILT[0], BUILT[1])
    read(document, "gage:S.2-1", f"{gage:.6f} mm")
    result = evaluate_document(document)
    assert check(result, "gage:S.1-2")["readings"] == 1
    rod = position(result, "S")["rods"][1]
    assert rod["determined"]
    assert (rod["along"], rod["in"]) == pytest.approx(BUILT[1], abs=1e-5)


def test_gages_that_no_pattern_has_are_left_out_and_said_so() -> None:
    # 122 mm apart inward, so their centres cannot be 50 mm apart
    document = read(read(building(), "setback:S.1", 150), "offset:S.1", -60)
    read(read(document, "setback:S.2", 272), "gage:S.1-2", 50)
    result = evaluate_document(document)
    found = position(result, "S")
    assert [rod["along"] for rod in found["rods"][:2]] == [-60, None]
    assert "fit no pattern near the plan" in found["note"]
    first = finding(result, "position:S")["remedies"][0]
    assert first["remedy"] == "remeasure"


def test_what_was_not_read_is_not_determined() -> None:
    document = read_rods(building(), "S", BUILT[:3])
    read(document, "setback:S.4", 270)
    found = position(evaluate_document(document), "S")
    assert [rod["verdict"] for rod in found["rods"]] == ["within"] * 3 + ["unmeasured"]
    assert found["rods"][3]["along"] is None
    assert (found["plate_fit"], found["shift_along"], found["turn"]) == (None,) * 3


def test_a_bad_rod_among_unmeasured_ones_asks_for_the_rest_first() -> None:
    document = read(read(building(), "setback:S.1", 160), "offset:S.1", -60)
    proposal = finding(evaluate_document(document), "position:S")["remedies"][0]
    assert proposal["remedy"] == "remeasure"
    assert proposal["checks"][:2] == ["setback:S.2", "offset:S.2"]


@pytest.mark.parametrize("turn", [0, 90, -37.5, 200])
def test_at_a_point_the_local_axes_are_turned(turn: float) -> None:
    document = building()
    document["positions"] = [
        {"mark": "P", "x": 9000, "y": 5000, "turn": f"{turn} deg", "detail": "Q"}
    ]
    result = evaluate_document(read_rods(document, "P", BUILT))
    found = position(result, "P")
    assert not [each for each in result["checks"] if each["check"] == "line:P"]
    assert [rod["along"] for rod in found["rods"]] == pytest.approx(
        [b[0] for b in BUILT]
    )
    assert (found["x"], found["y"]) == (9000, 5000)
    assert math.cos(found["angle"]) == pytest.approx(math.cos(math.radians(turn)))
    assert math.sin(found["angle"]) == pytest.approx(math.sin(math.radians(turn)))


def test_a_web_is_measured_like_a_centreline() -> None:
    document = building()
    document["details"]["Q"]["reference"] = "web"
    found = position(evaluate_document(read_rods(document, "S", BUILT)), "S")
    assert found["rods"][0]["along"] == pytest.approx(BUILT[0][0])


@pytest.mark.parametrize(
    ("built", "word"),
    [
        ((-60 + 3.175, 150), "within"),
        ((-60, 150 - 3.175), "within"),
        ((-60 + 3.176, 150), "outside"),
        ((-60, 150 - 3.176), "outside"),
    ],
)
def test_a_rods_verdict_is_that_of_its_setback_and_offset(
    built: tuple[float, float], word: str
) -> None:
    result = evaluate_document(read_rods(building(), "S", [built, *SQUARE[1:]]))
    assert position(result, "S")["rods"][0]["verdict"] == word
    assert ("position:S" in topics(result)) == (word == "outside")


# ---- plate fit ----------------------------------------------------------------------


@pytest.mark.parametrize("count", range(1, 13))
def test_the_plate_is_placed_at_the_optimum(count: int) -> None:
    rng = np.random.default_rng(count)
    grid = list(product((-150, 0, 150), (100, 200, 300, 400)))[:count]
    planned = [(float(a), float(b)) for a, b in grid]
    built = [(a + rng.normal(0, 4), b + rng.normal(0, 4)) for a, b in planned]
    built = [(round(a, 3), round(b, 3)) for a, b in built]
    sizes = [20.0 + 4.0 * (i % 2) for i in range(count)]
    document = building(positions=building()["positions"][:1])
    document["details"]["Q"]["rods"] = [
        rods(place, diameter=f"{size} mm")[0]
        for place, size in zip(planned, sizes, strict=True)
    ]
    found = position(evaluate_document(read_rods(document, "S", built)), "S")[
        "plate_fit"
    ]
    clearance = [(26 - size) / 2 for size in sizes]
    want = overrun(planned, built, clearance) if count > 1 else -clearance[0]
    assert found["overrun"] == pytest.approx(want, abs=1e-5)
    assert found["overrun"] <= want + 1e-6
    assert found["fits"] == (found["overrun"] <= 1e-6)
    assert found["hole_needed"] == pytest.approx(26 + 2 * found["overrun"])
    # and the placement given is one that has this overrun
    plan, now = np.array(planned), np.array(built)
    c, s = math.cos(found["turn"]), math.sin(found["turn"])
    middle = plan.mean(axis=0)
    placed = (plan - middle) @ np.array([[c, s], [-s, c]]) + middle
    placed += [found["shift_along"], found["shift_in"]]
    gap = np.linalg.norm(now - placed, axis=1) - clearance
    assert gap.max() == pytest.approx(found["overrun"], abs=1e-6)


def test_rods_that_are_all_moved_alike_fit_with_all_their_slack() -> None:
    built = [(along + 2, inward - 1) for along, inward in SQUARE]
    found = position(evaluate_document(read_rods(building(), "S", built)), "S")[
        "plate_fit"
    ]
    assert found["overrun"] == pytest.approx(-3, abs=1e-6)  # (26 - 20) / 2
    assert found["hole_needed"] == pytest.approx(20, abs=1e-5)
    assert (found["shift_along"], found["shift_in"]) == pytest.approx((2, -1), abs=1e-5)


def test_without_a_plate_there_is_no_fit() -> None:
    document = building()
    del document["details"]["Q"]["plate"]
    result = evaluate_document(read_rods(document, "S", [(-40, 150), *SQUARE[1:]]))
    assert position(result, "S")["plate_fit"] is None
    assert finding(result, "position:S")["remedies"][0]["remedy"] == "refer"


# ---- remedies -----------------------------------------------------------------------

# While the plates are made but not shipped, a new one comes after opening holes.
ORDER = ["remeasure", "shift", "ream", "slot", "new_plate", "re_anchor", "refer"]


def remedies(document: Document) -> list[Document]:
    found = finding(evaluate_document(document), "position:S")["remedies"]
    names = [each["remedy"] for each in found]
    assert names == sorted(names, key=ORDER.index)
    for place, each in enumerate(found):
        assert bool(each.get("why_second")) == (place > 0)
        assert each["reason"]
        field = each["remedy"] in ("remeasure", "shift")
        assert each["approval"] == ("field" if field else "engineer")
    return list(found)


def one_off(off: float) -> Document:
    """Rod 1 too far in by so much, confirmed by a second person. [mm]"""
    return confirm(read_rods(building(), "S", [(-60, 150 + off), *SQUARE[1:]]))


def test_a_plate_that_goes_on_is_only_shifted() -> None:
    assert remedies(one_off(5))[0]["remedy"] == "shift"


def test_a_plate_that_does_not_go_on_is_reamed_with_edge_and_washer() -> None:
    found = {each["remedy"]: each for each in remedies(one_off(14))}
    assert next(iter(found)) == "ream"
    ream = found["ream"]
    assert ream["hole_diameter"] > 26
    # AISC 360 Table J3.4: 20 mm goes by the next listed size, 7/8 in: 1 1/8 in
    assert ream["edge_left"] >= ream["edge_needed"] > 25.4
    assert ream["edge_left"] == pytest.approx(
        45 - (ream["hole_diameter"] - 26) / 2, abs=4
    )
    # the washer covers the hole with the rod against its edge (published-facts 5.1)
    assert ream["washer"]["size"] >= 2 * ream["hole_diameter"] - 20
    assert list(found) == ["ream", "slot", "new_plate", "refer"]


def test_a_rod_more_than_an_inch_off_gets_a_new_plate_or_the_engineer() -> None:
    # 29 mm from its stub a rod of 20 mm keeps no six diameters (ACI 318-19 17.9.2)
    found = remedies(one_off(29))
    assert [each["remedy"] for each in found] == ["new_plate", "refer"]
    assert "spacing to the old stub 1.5 of 6 rod diameters" in found[1]["reason"]
    ruled_out = finding(evaluate_document(one_off(29)), "position:S")["ruled_out"]
    assert {each["remedy"] for each in ruled_out} == {
        "shift",
        "ream",
        "slot",
        "re_anchor",
    }


def test_without_edge_left_no_hole_is_opened() -> None:
    document = one_off(14)
    document["details"]["Q"]["plate"]["edge_distance"] = "26 mm"
    assert remedies(document)[0]["remedy"] == "new_plate"


def test_disagreeing_repeats_come_first() -> None:
    # two against two: neither pair outweighs the other
    document = read(one_off(14), "setback:S.1", 150)
    read(document, "setback:S.1", 150)
    assert remedies(document)[0]["remedy"] == "remeasure"


def test_fewer_than_four_rods_are_accepted_with_a_caution() -> None:
    document = building()
    document["details"]["Q"]["rods"] = rods(*SQUARE[:3])
    assert any(
        "1926.758(b)" in caution for caution in evaluate_document(document)["cautions"]
    )
    assert not any(
        "1926.758(b)" in caution
        for caution in evaluate_document(building())["cautions"]
    )
