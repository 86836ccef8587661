"""Examples of the OpenAPI schema; everything in them is invented."""

from typing import Any

from drf_spectacular.utils import OpenApiExample

DOCUMENT_EXAMPLE: dict[str, Any] = {
    "format": "padstone.building/1",
    "name": "Quarry road store",
    "length_unit": "ft",
    "outline": [
        {"corner": "A", "x": 0, "y": 0},
        {"corner": "B", "x": "72'", "y": 0},
        {"corner": "C", "x": "72'", "y": "46'"},
        {"corner": "D", "x": 0, "y": "46'"},
    ],
    "details": {
        "F": {
            "reference": "centreline",
            "plate": {"hole_diameter": '1 1/16"', "edge_distance": '1 1/2"'},
            "rods": [
                {"in": '7"', "along": '-2 1/2"', "diameter": '3/4"'},
                {"in": '7"', "along": '2 1/2"', "diameter": '3/4"'},
                {"in": '12"', "along": '-2 1/2"', "diameter": '3/4"'},
                {"in": '12"', "along": '2 1/2"', "diameter": '3/4"'},
            ],
        }
    },
    "positions": [{"mark": "R1", "wall": "A-B", "along": "24'", "detail": "F"}],
    "readings": [
        {
            "id": "6d0c6c0e-1",
            "check": "diagonal:A-C",
            "value": "85' 5 1/4\"",
            "by": "crew 4",
            "at": "2026-05-11T13:20:00Z",
        }
    ],
}
READINGS_EXAMPLE: dict[str, Any] = {
    "readings": [
        {
            "id": "6d0c6c0e-2",
            "check": "setback:R1.1",
            "value": '7 1/8"',
            "by": "crew 4",
            "at": "2026-05-11T13:41:00Z",
        },
        {
            "id": "6d0c6c0e-3",
            "check": "offset:R1.1",
            "value": '-2 1/2"',
            "by": "crew 4",
            "at": "2026-05-11T13:42:00Z",
        },
    ],
    "keep_good": False,
}

CONCRETE_EXAMPLE: dict[str, Any] = {
    "entries": [
        {
            "id": "91c2e0aa-1",
            "kind": "temperature",
            "at": "2026-05-06T06:40:00-05:00",
            "temperature": "57.5 degF",
            "hours": 20,
            "by": "crew 4",
        },
        {
            "id": "91c2e0aa-2",
            "kind": "standard_cured",
            "on": "2026-06-02",
            "strength": "3240 psi",
        },
    ]
}

EVALUATE_EXAMPLES = [
    OpenApiExample("One diagonal measured", DOCUMENT_EXAMPLE, request_only=True)
]
BUILDING_EXAMPLES = [
    OpenApiExample("A small store", DOCUMENT_EXAMPLE, request_only=True)
]
READING_EXAMPLES = [
    OpenApiExample("Two readings of a rod", READINGS_EXAMPLE, request_only=True)
]
CONCRETE_EXAMPLES = [
    OpenApiExample("A temperature and a test", CONCRETE_EXAMPLE, request_only=True),
]
DECISION_EXAMPLES = [
    OpenApiExample(
        "Order the first remedy",
        {
            "choice": 0,
            "disposition": "rework",
            "note": "Shim as computed.",
            "seen": 118,
            "password": "your password",
        },
        request_only=True,
    )
]
RELEASE_EXAMPLES = [
    OpenApiExample(
        "Sign the ship release",
        {"kind": "ship", "note": "", "password": "your password"},
        request_only=True,
    )
]
TOKEN_EXAMPLES = [
    OpenApiExample(
        "Token of a phone",
        {
            "username": "fern",
            "password": "your password",
            "name": "Crew 4, yellow phone",
            "days": 90,
        },
        request_only=True,
    )
]
