"""The anchor plans of the demo, as exchange documents; every figure is invented."""

from collections.abc import Sequence
from typing import Any

from checks.demo.crew import INSTRUMENTS
from core.units import LengthUnit
from jobs.anchor_plan.rectangle import (
    PatternSpec,
    RectangleSpec,
    build_rectangle_document,
)

Document = dict[str, Any]

FRAME_PATTERN = PatternSpec(
    gage='4 1/2"', first_row='7 1/2"', row_spacing='5 1/2"', rod='7/8"',
    hole='1 1/16"', projection='3 3/4"', thickness='5/8"', edge='1 3/4"',
)  # fmt: skip
HEAVY_PATTERN = PatternSpec(
    gage='6"', first_row='8"', row_spacing='8"', rod='1 1/8"',
    hole='1 3/8"', projection='4 3/4"', thickness='7/8"', edge='2 1/4"',
)  # fmt: skip
POST_PATTERN = PatternSpec(
    gage='3 1/2"', first_row='4"', row_spacing='3 1/2"', rod='3/4"',
    hole='15/16"', projection='3 1/4"', thickness='1/2"', edge='1 1/2"',
)  # fmt: skip
METRIC_FRAME_PATTERN = PatternSpec(
    gage="120 mm", first_row="190 mm", row_spacing="140 mm", rod="24 mm",
    hole="30 mm", projection="95 mm", thickness="20 mm", edge="45 mm",
)  # fmt: skip
METRIC_POST_PATTERN = PatternSpec(
    gage="90 mm", first_row="100 mm", row_spacing="90 mm", rod="20 mm",
    hole="24 mm", projection="80 mm", thickness="12 mm", edge="38 mm",
)  # fmt: skip
SHIMS = ('1/16"', '1/8"', '1/4"', '1/2"')
METRIC_SHIMS = ("1 mm", "2 mm", "5 mm", "10 mm")


def build_web_detail(
    along: Sequence[str],
    inward: Sequence[str],
    rod: str,
    hole: str,
    projection: str,
    thickness: str,
) -> Document:
    """Draw a detail whose rods all stand on one side of a C-shaped member's web."""
    return {
        "reference": "web",
        "plate": {"hole_diameter": hole, "thickness": thickness},
        "rods": [
            {"in": i, "along": a, "diameter": rod, "projection": projection}
            for i in inward
            for a in along
        ],
    }


CEE_DETAIL = build_web_detail(
    ('1 1/2"', '4"'), ('4 1/4"', '8 1/4"'), '5/8"', '13/16"', '3"', '3/8"'
)
JAMB_DETAIL = build_web_detail(
    ('2 1/4"',), ('2"', '6"'), '1/2"', '9/16"', '2 1/2"', '1/4"'
)
METRIC_CEE_DETAIL = build_web_detail(
    ("40 mm", "100 mm"), ("100 mm", "200 mm"), "16 mm", "20 mm", "75 mm", "10 mm"
)


def build_hall(
    name: str,
    length: str,
    width: str,
    bays: str,
    across: str,
    *,
    metric: bool = False,
    web_ends: bool = False,
    heavy: bool = False,
    basis: str = "metal-building-practice",
    strength: str = "3000 psi",
    placed_on: str | None = None,
    inset: str | None = None,
) -> Document:
    """Draw a rectangular hall with frames, corner columns and endwall columns."""
    unit: LengthUnit = "mm" if metric else "in"
    frame = (
        METRIC_FRAME_PATTERN if metric else HEAVY_PATTERN if heavy else FRAME_PATTERN
    )
    post = METRIC_POST_PATTERN if metric else POST_PATTERN
    cee = METRIC_CEE_DETAIL if metric else CEE_DETAIL
    spec = RectangleSpec(
        name=name,
        length_unit=unit,
        length=length,
        width=width,
        bays=bays,
        endwall_spacing=across,
        frame=frame,
        endwall=cee if web_ends else post,
        corner=frame,
        corner_inset=inset or ("300 mm" if metric else "1'"),
        notch_width="40 mm" if metric else '1 1/2"',
        notch_depth="40 mm" if metric else '1 1/2"',
        specified_strength=strength,
        placed_on=placed_on,
        basis=basis,
        shim_thicknesses=METRIC_SHIMS if metric else SHIMS,
    )
    return {**build_rectangle_document(spec), "instruments": INSTRUMENTS}


def build_shed(name: str, *, placed_on: str | None = None) -> Document:
    """Draw the smallest of them: four posts and two jambs, no notch."""
    post = _build_post_detail()
    return _build_document(
        name,
        [
            ("SW", "0'", "0'"), ("SE", "16'", "0'"),
            ("NE", "16'", "12'"), ("NW", "0'", "12'"),
        ],
        [
            ("P1", "SW-SE", "1'", "post"),
            ("J1", "SW-SE", "5'", "jamb"),
            ("J2", "SW-SE", "11'", "jamb"),
            ("P2", "SW-SE", "15'", "post"),
            ("P3", "NE-NW", "1'", "post"),
            ("P4", "NE-NW", "15'", "post"),
        ],
        {"post": post, "jamb": JAMB_DETAIL},
        placed_on=placed_on,
        notch=None,
    )  # fmt: skip


def build_l_shaped_hall(name: str, *, placed_on: str | None = None) -> Document:
    """Draw an L-shaped outline: a hall with a wing, an inner corner between them."""
    corners = [
        ("A", "0'", "0'"), ("B", "90'", "0'"), ("C", "90'", "40'"),
        ("D", "50'", "40'"), ("E", "50'", "75'"), ("F", "0'", "75'"),
    ]  # fmt: skip
    document = _build_document(
        name,
        corners,
        [
            *(
                (f"1{c}", "A-B", a, "post")
                for c, a in _list_stops("abcd", 1, 30, 60, 89)
            ),
            *((f"2{c}", "B-C", a, "post") for c, a in _list_stops("ab", 13, 27)),
            *((f"3{c}", "C-D", a, "post") for c, a in _list_stops("ab", 1, 30)),
            *((f"4{c}", "D-E", a, "post") for c, a in _list_stops("a", 17)),
            *((f"5{c}", "E-F", a, "post") for c, a in _list_stops("abc", 1, 25, 49)),
            *((f"6{c}", "F-A", a, "post") for c, a in _list_stops("ab", 25, 50)),
            ("7a", None, "50'|40'", "post"),
        ],
        {"post": _build_post_detail()},
        placed_on=placed_on,
    )
    return document | {
        "diagonals": [["A", "C"], ["B", "D"], ["A", "D"], ["A", "E"], ["D", "F"]]
    }


def build_skewed_hall(name: str, *, placed_on: str | None = None) -> Document:
    """Draw walls that follow a boundary: four corners, no right angle among them."""
    return _build_document(
        name,
        [
            ("P", "0'", "0'"), ("Q", "72'", "-3'"),
            ("R", "78'", "44'"), ("S", "4'", "50'"),
        ],
        [
            *((f"P{n}", "P-Q", a, "post") for n, a in _list_stops("123", 2, 36, 69)),
            *((f"Q{n}", "Q-R", a, "post") for n, a in _list_stops("12", 16, 32)),
            *((f"R{n}", "R-S", a, "post") for n, a in _list_stops("123", 3, 37, 71)),
            *((f"S{n}", "S-P", a, "post") for n, a in _list_stops("12", 17, 33)),
        ],
        {"post": _build_post_detail()},
        placed_on=placed_on,
    )  # fmt: skip


def _list_stops(names: str, *feet: int) -> list[tuple[str, str]]:
    return [(name, f"{at}'") for name, at in zip(names, feet, strict=True)]


def _build_post_detail() -> Document:
    return {
        "reference": "centreline",
        "plate": {
            "hole_diameter": '15/16"',
            "thickness": '1/2"',
            "edge_distance": '1 1/2"',
        },
        "rods": [
            {"in": i, "along": a, "diameter": '3/4"', "projection": '3 1/4"'}
            for i in ('5"', '9"')
            for a in ('-2"', '2"')
        ],
    }


def _build_document(
    name: str,
    corners: Sequence[tuple[str, str, str]],
    positions: Sequence[tuple[str, str | None, str, str]],
    details: Document,
    *,
    placed_on: str | None = None,
    notch: str | None = '1 1/2"',
) -> Document:
    concrete = {"specified_strength": "3500 psi"}
    if placed_on:
        concrete["placed_on"] = placed_on
    document: Document = {
        "format": "padstone.building/1",
        "name": name,
        "length_unit": "in",
        "outline": [{"corner": c, "x": x, "y": y} for c, x, y in corners],
        "tolerances": {"basis": "metal-building-practice"},
        "shim_thicknesses": list(SHIMS),
        "details": details,
        "positions": [_build_position(*each) for each in positions],
        "concrete": concrete,
        "instruments": INSTRUMENTS,
    }
    return document | ({"notch": {"width": notch, "depth": notch}} if notch else {})


def _build_position(mark: str, wall: str | None, at: str, detail: str) -> Document:
    if wall is not None:
        return {"mark": mark, "wall": wall, "along": at, "detail": detail}
    x, y = at.split("|")
    return {"mark": mark, "x": x, "y": y, "turn": "0 deg", "detail": detail}
