"""A small shed to draw, store, revise and measure; every number is invented."""

from typing import Any


def shed(**members: Any) -> dict[str, Any]:
    """Return a small shed: four walls, a notch, one detail, six positions.

    Keyword arguments replace or add members of the document.
    """
    return {
        "format": "padstone.building/1",
        "name": "Larch yard shed",
        "length_unit": "ft",
        "outline": [
            {"corner": "A", "x": 0, "y": 0},
            {"corner": "B", "x": 66, "y": 0},
            {"corner": "C", "x": 66, "y": 38},
            {"corner": "D", "x": 0, "y": 38},
        ],
        "notch": {"width": '1 1/2"', "depth": '1 1/2"'},
        "shim_thicknesses": ['1/16"', '1/8"', '1/4"'],
        "details": {
            "M": {
                "reference": "centreline",
                "plate": {
                    "thickness": '5/8"',
                    "hole_diameter": '1 1/16"',
                    "edge_distance": '1 1/2"',
                },
                "rods": [
                    {
                        "in": inward,
                        "along": along,
                        "diameter": '3/4"',
                        "projection": '3 1/2"',
                    }
                    for inward in ('7"', '12"')
                    for along in ('-2 1/2"', '2 1/2"')
                ],
            }
        },
        "positions": [
            {"mark": f"{row}{number}", "wall": wall, "along": along, "detail": "M"}
            for row, wall in (("S", "A-B"), ("N", "C-D"))
            for number, along in ((1, "2'"), (2, "33'"), (3, "64'"))
        ],
        "concrete": {"specified_strength": "3500 psi", "placed_on": "2026-04-07"},
        **members,
    }
