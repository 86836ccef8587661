"""Exchange documents of plans, drawn by Hypothesis; every number is made up."""

import math
from typing import Any

from hypothesis import strategies as st

AWKWARD = "=+-@'\",;\t ½ñ_x00 0123abcXYZ#/\\()\ufffe🏗"
names = (
    st.one_of(
        st.text(AWKWARD, min_size=1, max_size=12),
        st.sampled_from(["12", "1-2", "=A1", "+1", "'x", "''", "_x000D_", "TRUE"]),
        st.text(st.characters(exclude_categories=["C", "Zl", "Zp"]), max_size=9),
    )
    .map(str.strip)
    .filter(lambda name: name and "\t" not in name)
)
corner_names = st.text("ABCDEFGHJKLMNPQRSTUVW0123456789=+'@", min_size=1, max_size=4)


def lengths(least: float, most: float) -> st.SearchStrategy[Any]:
    """Draw a length in inches, as a number or as one of the ways people write it."""
    number = st.floats(least, most, allow_subnormal=False)
    sixteenths = st.integers(math.ceil(least * 16), math.floor(most * 16))
    whole = [each for each in (math.ceil(least), math.floor(most)) if each > 0]
    return st.one_of(
        number,
        st.sampled_from(whole or [most]),
        sixteenths.map(fraction),
        number.map(lambda inches: f"{inches * 25.4:.3f} mm"),
        number.map(lambda inches: f"{inches / 12:.4f} ft"),
    )


def fraction(sixteenths: int) -> str:
    whole, rest = divmod(abs(sixteenths), 16)
    parts = [str(whole)] if whole or not rest else []
    parts += [f"{rest}/16"] if rest else []
    return f'{"-" if sixteenths < 0 else ""}{" ".join(parts)}"'


@st.composite
def details(draw: st.DrawFn) -> dict[str, Any]:
    places = draw(
        st.lists(
            st.tuples(st.integers(-40, 40), st.integers(1, 90)),
            min_size=1,
            max_size=6,
            unique=True,
        )
    )
    detail: dict[str, Any] = {
        "reference": draw(st.sampled_from(["centreline", "web"])),
        "rods": [
            {
                "in": draw(st.sampled_from([inward, fraction(16 * inward)])),
                "along": draw(st.sampled_from([along, fraction(16 * along)])),
                "diameter": draw(lengths(0.25, 3)),
            }
            | ({"projection": draw(lengths(1, 9))} if draw(st.booleans()) else {})
            for along, inward in places
        ],
    }
    if draw(st.booleans()):
        detail["plate"] = {"hole_diameter": draw(lengths(0.5, 4))} | (
            {"edge_distance": draw(lengths(1, 5))} if draw(st.booleans()) else {}
        )
    return detail


@st.composite
def outlines(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Draw a rectangle or an L, somewhere on the plan."""
    x, y = draw(st.integers(-900, 900)), draw(st.integers(-900, 900))
    width, depth = draw(st.integers(400, 3000)), draw(st.integers(400, 3000))
    points = [(x, y), (x + width, y), (x + width, y + depth), (x, y + depth)]
    if draw(st.booleans()):
        points[2:3] = [
            (x + width, y + depth // 2),
            (x + width // 2, y + depth // 2),
            (x + width // 2, y + depth),
        ]
    called = draw(
        st.lists(corner_names, min_size=len(points), max_size=len(points), unique=True)
    )
    return [
        {"corner": name, "x": px, "y": draw(st.sampled_from([py, fraction(16 * py)]))}
        for name, (px, py) in zip(called, points, strict=True)
    ]


drawn_names = names.filter(
    lambda name: not set(name) & set("%^\ufffe\uffff") and len(name.split()) == 1
)
"""Names without the codes that text in a drawing has."""


@st.composite
def plans(draw: st.DrawFn, *, readable_in_dxf: bool = False) -> dict[str, Any]:
    """Draw the document of a plan that is accepted.

    With `readable_in_dxf` no two rods stand on one place of the plan, and names are
    such as a drawing can have.
    """
    called = drawn_names if readable_in_dxf else names
    outline = draw(outlines())
    corners = [each["corner"] for each in outline]
    named = draw(st.dictionaries(called, details(), min_size=1, max_size=3))
    marks = draw(st.lists(called, max_size=5, unique=True))
    document: dict[str, Any] = {
        "format": "padstone.building/1",
        "name": draw(names),
        "length_unit": "in",
        "outline": outline,
        "details": named,
        "positions": [draw(_positions(mark, corners, list(named))) for mark in marks],
    }
    optional = {
        "diagonals": st.just([]) | st.just([[corners[0], corners[2]]]),
        "notch": st.fixed_dictionaries(
            {"width": lengths(1, 4), "depth": lengths(1, 4)}
        ),
        "tolerances": st.fixed_dictionaries(
            {"basis": st.sampled_from(["metal-building-practice", "aisc-303-2010"])},
            optional={
                "guarded": st.booleans(),
                "overrides": st.fixed_dictionaries(
                    {},
                    optional={
                        "rod_location": lengths(0.01, 1),
                        "plumb": st.sampled_from(["1/500", 0.002]),
                    },
                ),
            },
        ),
        "shim_thicknesses": st.just(['1/16"', 0.125, "6.5 mm"]) | st.just([]),
        "concrete": concretes(),
        "instruments": st.dictionaries(names, instruments, max_size=3),
    }
    for member, strategy in optional.items():
        if draw(st.booleans()):
            document[member] = draw(strategy)
    return document


@st.composite
def _positions(
    draw: st.DrawFn, mark: str, corners: list[str], named: list[str]
) -> dict[str, Any]:
    detail = draw(st.sampled_from(named))
    if draw(st.booleans()):
        first = draw(st.integers(0, len(corners) - 1))
        wall = f"{corners[first]}-{corners[(first + 1) % len(corners)]}"
        return {"mark": mark, "wall": wall, "along": draw(lengths(0, 190))} | {
            "detail": detail
        }
    turn = draw(st.sampled_from(["90 deg", "0 rad", "-37.5 deg"]))
    x, y = draw(lengths(-500, 900)), draw(lengths(-500, 900))
    return {"mark": mark, "x": x, "y": y, "turn": turn, "detail": detail}


@st.composite
def concretes(draw: st.DrawFn) -> dict[str, Any]:
    concrete: dict[str, Any] = {"specified_strength": "3500 psi"}
    if draw(st.booleans()):
        concrete["placed_on"] = draw(st.dates()).isoformat()
    if draw(st.booleans()):
        concrete["standard_cured"] = ["3900 psi", "27.5 MPa"]
    if draw(st.booleans()):
        by_age = draw(st.booleans())
        called = "age" if by_age else "maturity"
        concrete["maturity"] = {
            "curve": [
                {called: 24, "strength": "900 psi"},
                {called: 600.5, "strength": "3100 psi"},
            ],
            "temperatures": [{"hours": 5.5, "temperature": "61 degF"}],
            "expected": {"low": "2 degC", "likely": "9 degC", "high": "15 degC"},
        } | (
            {"activation": 5000, "reference": "23 degC"}
            if by_age
            else {"datum": "0 degC"}
        )
    return concrete


instruments = st.fixed_dictionaries(
    {"kind": st.sampled_from(["steel tape", "optical level", "=tape"])},
    optional={
        "class": st.sampled_from(["I", "II", "III"]),
        "standard_temperature": st.just("20 degC"),
        "weight": st.just("0.19 N/m"),
        "standard_uncertainty": lengths(0.01, 0.2),
        "collimation": st.just("-0.001 rad"),
    },
)
