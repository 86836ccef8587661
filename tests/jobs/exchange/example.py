"""An exchange document with something of everything; its numbers are invented."""

from typing import Any

from jobs.anchor_plan.values import Plan
from jobs.exchange.input.parser import parse_building
from jobs.exchange.issues import DocumentError


def example() -> dict[str, Any]:
    """Return a fresh copy of the document."""
    rods = [
        {"in": inward, "along": along, "diameter": '3/4"', "projection": '3"'}
        for inward in ('8"', '13"')
        for along in ('-2 1/2"', '2 1/2"')
    ]
    return {
        "format": "padstone.building/1",
        "name": "Fern Hollow hay store",
        "length_unit": "in",
        "outline": [
            {"corner": "SW", "x": 0, "y": 0},
            {"corner": "SE", "x": "90'", "y": 0},
            {"corner": "NE", "x": "90'", "y": "48'"},
            {"corner": "NW", "x": 0, "y": "48'"},
        ],
        "diagonals": [["SW", "NE"], ["SE", "NW"]],
        "notch": {"width": '1 1/2"', "depth": '1 1/4"'},
        "tolerances": {
            "basis": "aisc-303-2010",
            "overrides": {"rod_location": '3/16"', "plumb": "1/400"},
        },
        "shim_thicknesses": ['1/16"', '1/8"', '3/8"'],
        "details": {
            "P": {
                "reference": "centreline",
                "plate": {
                    "thickness": '5/8"',
                    "hole_diameter": '15/16"',
                    "edge_distance": '1 3/8"',
                },
                "rods": rods,
            }
        },
        "positions": [
            {"mark": "S1", "wall": "SW-SE", "along": "22'-6\"", "detail": "P"},
            {"mark": "K7", "x": "45'", "y": "24'", "turn": "90 deg", "detail": "P"},
        ],
        "concrete": {"specified_strength": "3500 psi", "placed_on": "2026-04-07"},
        "instruments": {
            "T1": {
                "kind": "steel tape",
                "class": "II",
                "standard_temperature": "20 degC",
                "nominal_length": "100'",
                "actual_length": "100'-1/16\"",
                "standard_tension": "50 N",
                "cross_section": "2.5 mm^2",
                "elastic_modulus": "205 GPa",
                "weight": "0.19 N/m",
            },
            "L1": {
                "kind": "optical level",
                "standard_uncertainty": "1.2 mm",
                "collimation": "0.001 rad",
            },
        },
        "readings": [
            {
                "id": "a1",
                "check": "diagonal:NE-SW",
                "value": "102' 1/4\"",
                "by": "crew 4",
                "at": "2026-04-14T09:20:00Z",
                "instrument": "T1",
                "temperature": "48 degF",
                "tension": "12 lbf",
                "slope_rise": '-2"',
                "span": "50'",
                "note": "windy\nsecond try",
            },
            {"check": "line:S1", "value": 810.25, "from": "SE"},
            {"check": "setback:K7.1", "value": '-1/4"'},
            {"check": "offset:S1.1", "value": '-2 9/16"'},
            {"check": "gage:S1.4-1", "value": '7 1/16"'},
            {
                "check": "level:S1",
                "value": "4.21 ft",
                "setup": "2",
                "sight": "40'",
                "instrument": "L1",
            },
            {"check": "benchmark:hydrant", "value": "1.105 m", "setup": "2"},
            {"check": "strength:cylinder 3", "value": "2750 psi"},
            {"check": "plumb:S1.in", "value": '-1/8"', "height": "14'"},
            {
                "id": "a2",
                "check": "diagonal:SW-NE",
                "value": "102' 3/16\"",
                "supersedes": "a1",
            },
        ],
    }


def plan(**members: Any) -> Plan:
    """Read the document's plan, with members replaced."""
    document = example() | members
    del document["readings"]
    return parse_building(document).plan


def refusals(document: object) -> dict[str, str]:
    """Return what is refused, by pointer; nothing where the document fits."""
    try:
        parse_building(document)
    except DocumentError as error:
        return {each.pointer: each.message for each in error.issues}
    return {}


def changed(pointer: str, value: Any) -> dict[str, Any]:
    """Return the document with one value replaced, or added at the end with `-`."""
    document: Any = example()
    *path, last = pointer.strip("/").split("/")
    at = document
    for step in path:
        at = at[int(step)] if isinstance(at, list) else at[step]
    if isinstance(at, list):
        if last == "-":
            at.append(value)
        else:
            at[int(last)] = value
    else:
        at[last] = value
    return document
