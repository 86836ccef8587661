"""Results do not depend on place, direction and units of a building.

A hall with skewed walls is read with noise on everything, then the same hall is turned
by the 3-4-5 triangle (so that its corners stay exact), moved and mirrored.
"""

import copy
import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from core.units import format_length
from tests.published.contract import (
    SQUARE,
    Document,
    building,
    evaluate_document,
    read,
)

CORNERS = {"A": (0, 0), "B": (25000, 0), "C": (25000, 15000), "D": (0, 20000)}
CLOSE = 1e-6


def hall() -> Document:
    """Four walls, one position on each and one inside, everything read with noise."""
    rng = np.random.default_rng(11)
    positions = [
        {"mark": mark, "wall": wall, "along": along, "detail": "Q"}
        for mark, wall, along in (
            ("S", "A-B", 8000),
            ("E", "B-C", 7000),
            ("N", "C-D", 9000),
            ("W", "D-A", 6000),
        )
    ]
    positions.append(
        {"mark": "P", "x": 10000, "y": 5000, "turn": "30 deg", "detail": "Q"}
    )
    document = building(
        outline=[{"corner": c, "x": x, "y": y} for c, (x, y) in CORNERS.items()],
        positions=positions,
        tolerances={"basis": "aisc-303-2010"},
    )
    for pair in ("A-C", "B-D"):
        kind = f"diagonal:{pair}"
        read(document, kind, noisy(rng, math.dist(*(CORNERS[c] for c in pair[::2])), 9))
    for pair in ("A-B", "B-C", "C-D", "D-A"):
        length = math.dist(*(CORNERS[c] for c in pair[::2]))
        read(document, f"wall:{pair}", noisy(rng, length, 3))
    for each in positions[:4]:
        read(document, f"line:{each['mark']}", noisy(rng, float(each["along"]), 2))
    for each in positions:
        for number, (along, inward) in enumerate(SQUARE, start=1):
            read(document, f"setback:{each['mark']}.{number}", noisy(rng, inward, 3))
            read(document, f"offset:{each['mark']}.{number}", noisy(rng, along, 3))
        read(document, f"level:{each['mark']}", noisy(rng, 1400, 3))
    return document


def noisy(rng: np.random.Generator, value: float, sigma: float) -> str:
    return f"{value + rng.normal(0, sigma):.1f} mm"


def numbers(value: Any, path: str = "") -> Iterator[tuple[str, float]]:
    """Every number of a result, with where it stands."""
    if isinstance(value, bool):
        return
    if isinstance(value, int | float):
        yield path, float(value)
    elif isinstance(value, dict):
        for name, child in value.items():
            yield from numbers(child, f"{path}/{name}")
    elif isinstance(value, list):
        for place, child in enumerate(value):
            yield from numbers(child, f"{path}/{place}")


def alike(one: Any, other: Any, *, but: tuple[str, ...] = ()) -> None:
    """Hold two results against each other, to 1e-6 mm."""
    first, second = (
        {
            path: value
            for path, value in numbers(each)
            if not any(n in path for n in but)
        }
        for each in (one, other)
    )
    assert first.keys() == second.keys()
    for path, value in first.items():
        assert second[path] == pytest.approx(value, abs=CLOSE, rel=1e-9), path


def verdicts(result: Document) -> list[str]:
    return [each["verdict"] for each in result["checks"]]


def placed(document: Document, turn: int, move: tuple[int, int]) -> Document:
    """The same building turned by turn x atan(4/3) and moved."""
    c, s = {0: (1.0, 0.0), 1: (0.6, 0.8), 2: (-0.28, 0.96)}[turn]
    changed = copy.deepcopy(document)
    for each in [*changed["outline"], changed["positions"][4]]:
        x, y = each["x"], each["y"]
        each["x"] = round(c * x - s * y + move[0], 6)
        each["y"] = round(s * x + c * y + move[1], 6)
    angle = math.radians(30) + math.atan2(s, c)
    changed["positions"][4]["turn"] = f"{angle:.15f} rad"
    return changed


@pytest.mark.parametrize("turn", [0, 1, 2])
@pytest.mark.parametrize("move", [(0, 0), (-3_000_000, 4_000_000)])
def test_turning_and_moving_the_building_changes_nothing(
    turn: int, move: tuple[int, int]
) -> None:
    before, after = (
        evaluate_document(hall()),
        evaluate_document(placed(hall(), turn, move)),
    )
    corners = ("/squareness/corners", "/dx", "/dy")  # on the plan's axes: they turn
    # Of many placements that are equally good the result has one.
    turning = ("/x", "/y", "/angle", "_x", "_y", "/fit_up/plates")
    alike(before, after, but=(*corners, *turning))
    words = [
        [each["verdict"] for each in result["checks"]] for result in (before, after)
    ]
    assert words[0] == words[1]
    c, s = {0: (1.0, 0.0), 1: (0.6, 0.8), 2: (-0.28, 0.96)}[turn]
    for one, other in zip(
        before["squareness"]["corners"], after["squareness"]["corners"], strict=True
    ):
        turned = (c * one["dx"] - s * one["dy"], s * one["dx"] + c * one["dy"])
        assert (other["dx"], other["dy"]) == pytest.approx(turned, abs=CLOSE)


def mirrored(document: Document) -> Document:
    """The same building seen in a mirror: x and every along turned round."""
    changed = copy.deepcopy(document)
    d, c, b, a = reversed(changed["outline"])
    changed["outline"] = [b, a, d, c]  # the lean is told from the first wall
    for corner in changed["outline"]:
        corner["x"] = -corner["x"]
    changed["diagonals"] = [["C", "A"], ["D", "B"]]
    for rod in changed["details"]["Q"]["rods"]:
        rod["along"] = f"{-float(rod['along'][:-3])} mm"
    lengths = {}
    for each in changed["positions"]:
        if "wall" in each:
            first, second = each["wall"].split("-")
            lengths[each["mark"]] = math.dist(CORNERS[first], CORNERS[second])
            each["wall"] = f"{second}-{first}"
            each["along"] = lengths[each["mark"]] - each["along"]
        else:
            each |= {"x": -each["x"], "turn": "-30 deg"}
    for each in changed["readings"]:
        kind, _, rest = each["check"].partition(":")
        if kind in ("wall", "diagonal"):
            each["check"] = f"{kind}:{'-'.join(reversed(rest.split('-')))}"
        elif kind == "offset":
            each["value"] = f"{-float(each['value'][:-3]):.1f} mm"
        elif kind == "line":
            each["from"] = next(
                p["wall"] for p in changed["positions"] if p["mark"] == rest
            ).split("-")[1]
    return changed


def test_a_mirrored_building_has_mirrored_results() -> None:
    before, after = evaluate_document(hall()), evaluate_document(mirrored(hall()))
    seen = {each["check"]: each for each in after["checks"]}
    for each in before["checks"]:
        kind, _, rest = each["check"].partition(":")
        flips = kind in ("line", "offset")
        if kind in ("wall", "diagonal"):
            rest = "-".join(reversed(rest.split("-")))
        other = seen[f"{kind}:{rest}"]
        assert other["verdict"] == each["verdict"]
        if each["deviation"] is not None:
            sign = -1 if flips else 1
            assert other["deviation"] == pytest.approx(
                sign * each["deviation"], abs=CLOSE
            )
    marks = {each["mark"]: each for each in after["positions"]}
    for one in before["positions"]:
        other = marks[one["mark"]]
        assert other["turn"] == pytest.approx(-one["turn"], abs=1e-9)
        assert other["shift_along"] == pytest.approx(-one["shift_along"], abs=CLOSE)
        assert other["shift_in"] == pytest.approx(one["shift_in"], abs=CLOSE)
        assert other["plate_fit"]["overrun"] == pytest.approx(
            one["plate_fit"]["overrun"], abs=CLOSE
        )
    assert after["squareness"]["difference"] == pytest.approx(
        before["squareness"]["difference"], abs=CLOSE
    )
    assert abs(after["squareness"]["lean"]) == pytest.approx(
        abs(before["squareness"]["lean"]), abs=1e-9
    )
    for one, other in zip(
        before["levels"]["pads"], after["levels"]["pads"], strict=True
    ):
        assert other["height"] == pytest.approx(one["height"], abs=CLOSE)
        assert other["stack"] == one["stack"]


@pytest.mark.parametrize("unit", ["in", "ft", "cm", "m"])
def test_the_unit_of_the_document_changes_nothing(unit: str) -> None:
    size = {"in": 25.4, "ft": 304.8, "cm": 10.0, "m": 1000.0}[unit]
    document, changed = hall(), hall()
    changed["length_unit"] = unit
    for each in [*changed["outline"], *changed["positions"]]:
        for name in ("x", "y", "along"):
            if name in each:
                each[name] = each[name] / size
    before, after = evaluate_document(document), evaluate_document(changed)
    # A shop orders in 1/16 in or in 1 mm, by the unit of the plan.
    ordered = SHOP_SIZES if unit in ("in", "ft") else ()
    alike(before, after, but=ordered)


SHOP_SIZES = (
    "ordered_diameter",
    "/slots/",
    "/open/",
    "/plate/",
    "/washer/",
    "edge_left",
    "thread_left",
)
"""Members that follow from sizes rounded up to what a shop makes."""


@pytest.mark.parametrize("style", ["imperial", "inches"])
def test_readings_typed_in_inches_are_the_same_readings(style: Any) -> None:
    # every sixty-fourth of an inch is exact in six decimals of a millimetre; only the
    # resolution, and with it what hangs on the uncertainty, goes by what was typed
    metric, imperial = hall(), hall()
    for one, other in zip(metric["readings"], imperial["readings"], strict=True):
        steps = round(float(one["value"][:-3]) / 25.4 * 64)
        one["value"] = f"{steps * 25.4 / 64:.6f} mm"
        other["value"] = format_length(steps * 25.4 / 64, style, 64)
    before, after = evaluate_document(metric), evaluate_document(imperial)
    weighed = (
        "uncertainty",
        "probability",
        "squareness",
        "findings",
        "square_up",
        "next_readings",
        "second_reading",
        "fit_up",
        "levels",
    )
    assert verdicts(before) == verdicts(after)
    for result in (before, after):  # heights are weighed by their uncertainty, too
        result["checks"] = [c for c in result["checks"] if c["kind"] != "level"]
    alike(before, after, but=weighed)


def test_the_order_of_readings_changes_nothing() -> None:
    changed = hall()
    changed["readings"].reverse()
    alike(evaluate_document(hall()), evaluate_document(changed))
