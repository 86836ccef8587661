"""A small invented building that fills the import template."""

from typing import Any


def build_example_document() -> dict[str, Any]:
    """Build the document of the template's building, which does not exist."""
    columns = (
        ("A2", "SW-SE", "20'", "M"),
        ("B3", "SE-NE", "18'", "E"),
        ("C2", "NE-NW", "20'", "M"),
        ("B1", "NW-SW", "18'", "E"),
    )
    return {
        "format": "padstone.building/1",
        "name": "Example shed",
        "length_unit": "ft",
        "outline": [
            {"corner": "SW", "x": 0, "y": 0},
            {"corner": "SE", "x": 40, "y": 0},
            {"corner": "NE", "x": 40, "y": 36},
            {"corner": "NW", "x": 0, "y": 36},
        ],
        "diagonals": [["SW", "NE"], ["SE", "NW"]],
        "notch": {"width": '1 1/2"', "depth": '1 1/2"'},
        "tolerances": {"basis": "metal-building-practice"},
        "shim_thicknesses": ['1/16"', '1/8"', '1/4"', '1/2"'],
        "details": _build_example_details(),
        "positions": [
            *(
                {"mark": mark, "wall": wall, "along": along, "detail": detail}
                for mark, wall, along, detail in columns
            ),
            {"mark": "B2", "x": "20'", "y": "18'", "turn": "90 deg", "detail": "M"},
        ],
        "concrete": {"specified_strength": "3000 psi", "placed_on": "2026-03-02"},
        "instruments": {
            "T1": {"kind": "steel tape", "class": "II", "nominal_length": "100'"},
            "L1": {"kind": "optical level"},
        },
    }


def _build_example_details() -> dict[str, Any]:
    rods = [
        {"in": inward, "along": along, "diameter": '3/4"', "projection": '3 1/4"'}
        for inward in ('7"', '12"')
        for along in ('-2 1/2"', '2 1/2"')
    ]
    post = [
        {"in": '5"', "along": along, "diameter": '5/8"', "projection": '3"'}
        for along in ('-2"', '2"')
    ]
    return {
        "M": {
            "reference": "centreline",
            "plate": {
                "hole_diameter": '15/16"',
                "thickness": '1/2"',
                "edge_distance": '1 1/4"',
            },
            "rods": rods,
        },
        "E": {
            "reference": "centreline",
            "plate": {"hole_diameter": '13/16"', "thickness": '3/8"'},
            "rods": post,
        },
    }
