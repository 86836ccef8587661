"""Documents that `evaluate` accepts and refuses, by the exchange document."""

import copy
import json
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.published import contract
from tests.published.contract import (
    INCH,
    building,
    check,
    evaluate_document,
    list_refusals,
    read,
)

# ---- lengths ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("31' 7 1/2\"", 379.5),
        ("31'-7 1/2\"", 379.5),
        ("31'-1/2\"", 372.5),
        ("31 ft 7.5 in", 379.5),
        ('4 1/2"', 4.5),
        ("5/8 in", 0.625),
        ("7.125 m", 7125 / INCH),
        ("7125 mm", 7125 / INCH),
        ("712.5 cm", 7125 / INCH),
        ("31\u2032 7½\u2033", 379.5),
        ("31\u2019 7 ½\u201d", 379.5),
        ("31\u00a0ft\u00a07⅛ in", 379.125),
        ("31'", 372.0),
        ("31.625 ft", 379.5),
    ],
)
def test_a_length_reads_the_same_however_it_is_typed(text: str, inches: float) -> None:
    result = evaluate_document(read(building(), "wall:A-B", text))
    assert check(result, "wall:A-B")["observed"] == pytest.approx(
        inches * INCH, abs=1e-6
    )


@pytest.mark.parametrize("unit", ["in", "ft", "mm", "cm", "m"])
def test_a_bare_number_is_in_the_documents_unit(unit: str) -> None:
    factor = {"in": INCH, "ft": 304.8, "mm": 1.0, "cm": 10.0, "m": 1000.0}[unit]
    document = building(length_unit=unit)
    for corner in document["outline"]:
        corner["x"], corner["y"] = f"{corner['x']} mm", f"{corner['y']} mm"
    for each in document["positions"]:
        each["along"] = f"{each['along']} mm"
    result = evaluate_document(read(document, "wall:A-B", 23.5))
    assert check(result, "wall:A-B")["observed"] == pytest.approx(23.5 * factor)


@pytest.mark.parametrize(
    "text",
    [
        "31' 14\"",
        '4 9/8"',
        "31' -7\"",
        "31",
        "",
        "31' 7",
        "4 1/0 in",
        "1,5 m",
        "nan mm",
        "inf",
        "1e3 mm",
        "10001 m",
        "--4 mm",
        "4 1/2",
        "31 -7 in",
        None,
        True,
        [1],
        {"mm": 4},
        1e400,
        1e9,
    ],
)
def test_what_is_no_length_is_refused_where_it_stands(text: object) -> None:
    document = json.dumps(read(building(), "wall:A-B", text))
    (error,) = list_refusals(document.replace("Infinity", "1e400")).items()
    assert error[0] == "/readings/0/value"
    assert error[1]


def test_nan_is_refused_where_it_stands() -> None:
    text = json.dumps(building()).replace('"x": 24000.0', '"x": NaN')
    assert set(list_refusals(text)) == {"/outline/1/x", "/outline/2/x"}


# ---- refusals ---------------------------------------------------------------------


def _at(document: Any, pointer: str, value: object) -> None:
    """Set a member or item by pointer; `...` takes it away."""
    *way, last = pointer.strip("/").split("/")
    for step in way:
        document = document[int(step) if isinstance(document, list) else step]
    if value is ...:
        del document[last]
    elif isinstance(document, list):
        document[int(last)] = value
    else:
        document[last] = value


REFUSALS: list[tuple[str, object, str]] = [
    # where it is changed, to what, where it is refused
    ("/format", "padstone.building/2", "/format"),
    ("/format", ..., ""),
    ("/name", ..., ""),
    ("/name", 7, "/name"),
    ("/length_unit", "yd", "/length_unit"),
    ("/outline", ..., ""),
    ("/colour", "red", "/colour"),
    ("/outline/2/z", 0, "/outline/2/z"),
    ("/outline/1/corner", "A", "/outline/1/corner"),
    ("/outline/1/x", "24", "/outline/1/x"),
    ("/diagonals", [["A", "B"]], "/diagonals/0"),
    ("/diagonals", [["A", "Z"]], "/diagonals/0/1"),
    ("/diagonals", [["A", "C"], ["C", "A"]], "/diagonals/1"),
    ("/details/Q/reference", "flange", "/details/Q/reference"),
    ("/details/Q/rods", [], "/details/Q/rods"),
    ("/details/Q/rods/0/in", ..., "/details/Q/rods/0"),
    ("/details/Q/rods/0/diameter", "0 mm", "/details/Q/rods/0/diameter"),
    ("/details/Q/plate/hole_diameter", ..., "/details/Q/plate"),
    ("/details/a~b", {}, "/details/a~0b"),
    ("/positions/1/mark", "S", "/positions/1/mark"),
    ("/positions/1/wall", "C-B", "/positions/1/wall"),
    ("/positions/1/along", "15.001 m", "/positions/1/along"),
    ("/positions/1/along", "-1 mm", "/positions/1/along"),
    ("/positions/1/x", 0, "/positions/1"),
    ("/positions/1/wall", ..., "/positions/1"),
    ("/positions/3/detail", "Z", "/positions/3/detail"),
    ("/tolerances", {"basis": "best"}, "/tolerances/basis"),
    ("/tolerances", {"overrides": {"rod": 1}}, "/tolerances/overrides/rod"),
    ("/tolerances", {"overrides": {"line": -1}}, "/tolerances/overrides/line"),
    ("/shim_thicknesses/0", "0 mm", "/shim_thicknesses/0"),
    ("/concrete/specified_strength", 25, "/concrete/specified_strength"),
    ("/concrete/specified_strength", "25 mm", "/concrete/specified_strength"),
    ("/instruments/T/class", "IV", "/instruments/T/class"),
    ("/notch", {"width": "30 mm"}, "/notch"),
]


@pytest.mark.parametrize(("where", "value", "pointer"), REFUSALS)
def test_what_does_not_fit_is_refused_at_its_place(
    where: str, value: object, pointer: str
) -> None:
    document = building()
    _at(document, where, value)
    errors = list_refusals(document)
    assert pointer in errors
    assert all(errors.values())


READINGS: list[tuple[dict[str, object], str]] = [
    ({"check": "wall:B-A"}, "check"),
    ({"check": "wall:A-C"}, "check"),
    ({"check": "diagonal:A-B"}, "check"),
    ({"check": "line:Z"}, "check"),
    ({"check": "setback:S"}, "check"),
    ({"check": "setback:S.5"}, "check"),
    ({"check": "gage:S.1-1"}, "check"),
    ({"check": "notch_width:A-B"}, "check"),
    ({"check": "plumb:S"}, "check"),
    ({"check": "height:S"}, "check"),
    ({"check": "wall"}, "check"),
    ({"check": "wall:A-B", "value": "23 m", "instrument": "X"}, "instrument"),
    ({"check": "wall:A-B", "temperature": 20}, "temperature"),
    ({"check": "wall:A-B", "tension": "3 m"}, "tension"),
    ({"check": "wall:A-B", "at": "2026-03-09T14:05:00"}, "at"),
    ({"check": "wall:A-B", "at": "2026-02-30T14:05:00Z"}, "at"),
    ({"check": "wall:A-B", "supersedes": "none"}, "supersedes"),
    ({"check": "line:S", "from": "C"}, "from"),
    ({"check": "wall:A-B", "hue": 1}, "hue"),
    ({"check": "strength:F", "value": "24 m"}, "value"),
    ({"check": "strength:F", "value": 24}, "value"),
    ({"check": "plumb:S.in", "value": "3 mm"}, ""),
]


@pytest.mark.parametrize(("entry", "member"), READINGS)
def test_a_reading_that_does_not_fit_is_refused_at_its_place(
    entry: dict[str, object], member: str
) -> None:
    document = read(building(), "wall:A-B", "24 m")
    document["readings"].append({"id": "x", "value": "24 m", **entry})
    errors = list_refusals(document)
    assert f"/readings/1{'/' + member if member else ''}" in errors
    assert all(pointer.startswith("/readings/1") for pointer in errors)


@pytest.mark.parametrize(
    "corners",
    [
        [(0, 0), (0, 10), (10, 10), (10, 0)],  # clockwise
        [(0, 0), (10, 10), (10, 0), (0, 10)],  # crosses itself
        [(0, 0), (10, 0), (5, 0)],  # no inside
        [(0, 0), (10, 0), (10, 10), (5, 0), (0, 10)],  # a corner on an edge
        [(0, 0), (10, 0), (10, 10), (0, 0)],  # the first one again
        [(0, 0), (10, 0)],
    ],
)
def test_what_is_no_outline_is_refused_with_the_reason(
    corners: list[tuple[int, int]],
) -> None:
    document = building(
        positions=[],
        outline=[
            {"corner": "ABCDE"[i], "x": x * 1000, "y": y * 1000}
            for i, (x, y) in enumerate(corners)
        ],
    )
    errors = list_refusals(document)
    assert all(pointer.startswith("/outline") for pointer in errors)


def test_every_error_is_listed_at_once() -> None:
    document = read(building(), "line:Z", "1 m")
    document["positions"][0]["detail"] = "Z"
    document["concrete"]["placed_on"] = "yesterday"
    read(document, "wall:A-B", "4 9/8 in")
    assert set(list_refusals(document)) == {
        "/positions/0/detail",
        "/concrete/placed_on",
        "/readings/0/check",
        "/readings/1/value",
    } or set(list_refusals(document)) == {
        "/positions/0/detail",
        "/concrete/placed_on",
        "/readings/1/value",  # no plan, so no telling which marks there are
    }


def test_the_same_reading_twice_is_one_and_another_under_its_id_is_refused() -> None:
    document = read(building(), "wall:A-B", "24 m", id="one")
    document["readings"].append(dict(document["readings"][0]))
    assert check(evaluate_document(document), "wall:A-B")["readings"] == 1
    document["readings"][1]["value"] = "24.001 m"
    assert list(list_refusals(document)) == ["/readings/1/id"]


# ---- schemas ------------------------------------------------------------------------


ODD: list[object] = [
    *(None, True, 0, -1, 7.5, 1e300, 1e-9, [], {}, "", " ", "x", "5 mm", "-5 mm"),
    *("1/2", "90 deg", "20 degC", "3000 psi", "A", "A-B", "S", "Q", "1/500", "5 N"),
    *(["A", "C"], {"in": 1}, "2026-03-02", "2026-03-09T14:05:00Z", "wall:A-B"),
]


def _leaves(value: object, pointer: str = "") -> Iterator[str]:
    """Every place of a document."""
    if pointer:
        yield pointer
    if isinstance(value, dict | list):
        pairs = value.items() if isinstance(value, dict) else enumerate(value)
        for step, child in pairs:
            yield from _leaves(child, f"{pointer}/{step}")


FULL = read(
    building(
        notch={"width": "40 mm", "depth": "40 mm"},
        tolerances={"overrides": {"plumb": "1/400", "line": "4 mm"}, "guarded": True},
    ),
    "wall:A-B",
    "24 m",
    **{"by": "crew 4", "at": "2026-03-09T14:05:00Z", "instrument": "T", "note": ""},
    **{"temperature": "20 degC", "tension": "50 N", "span": "9 m", "slope_rise": 3},
)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.sampled_from(sorted(_leaves(FULL))), st.sampled_from(ODD))
def test_what_the_schema_refuses_the_parser_refuses(where: str, odd: object) -> None:
    document = copy.deepcopy(FULL)
    _at(document, where, odd)
    try:
        evaluate_document(document)  # holds what was accepted against the schema
    except contract.DocumentError as error:
        for each in error.issues:
            assert each.message
            assert each.pointer == "" or each.pointer.startswith("/")


@pytest.mark.parametrize(
    "change",
    [
        ("/name", " Marram "),
        ("/name", "n" * 120 + " " * 9),
        ("/positions/0/mark", "S" + " " * 45),
        ("/outline/0/x", " 0 mm\n"),
        ("/outline/0/x", "\u20100 mm"),
        ("/outline/0/x", "\u22120 mm"),
        ("/outline/0/x", "0\u2033"),
        ("/shim_thicknesses/0", "½ in"),
        ("/tolerances", {"overrides": {"plumb": " 1/400 "}}),
        ("/tolerances", {"overrides": {"plumb": "0.0"}}),
        ("/concrete/specified_strength", " 25 MPa "),
        ("/concrete/placed_on", "2026-03-02"),
    ],
)
def test_schema_and_parser_agree_at_the_edges(change: tuple[str, object]) -> None:
    document = building()
    _at(document, *change)
    with suppress(contract.DocumentError):
        evaluate_document(document)  # holds what was accepted against the schema
