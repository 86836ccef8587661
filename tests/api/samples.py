"""A small store to send over the wire; every number in it is invented."""

import copy
from typing import Any
from uuid import uuid4

from api.examples import DOCUMENT_EXAMPLE

Document = dict[str, Any]


def store(**members: Any) -> Document:
    """Return a store with two positions and nothing measured."""
    document = copy.deepcopy(DOCUMENT_EXAMPLE)
    document["positions"] = [
        {"mark": "R1", "wall": "A-B", "along": "24'", "detail": "F"},
        {"mark": "R2", "wall": "A-B", "along": "48'", "detail": "F"},
    ]
    document["shim_thicknesses"] = ['1/16"', '1/8"', '1/4"']
    document["readings"] = []
    return {**document, **members}


def entry(check: str, value: str | float, **members: Any) -> Document:
    """Write one reading with an id of its own."""
    return {"id": str(uuid4()), "check": check, "value": value, **members}


def measured() -> Document:
    """Return the store with a pad too low and rods out of place."""
    setbacks = ['7 1/8"', '7"', '12 3/8"', '12"']
    offsets = ['-2 1/2"', '2 5/8"', '-2 1/2"', '3"']
    return store(
        readings=[
            {"id": "a", "check": "diagonal:A-C", "value": "85' 5 1/4\""},
            {"id": "b", "check": "diagonal:B-D", "value": "85' 5 1/2\""},
            {"id": "c", "check": "level:R1", "value": "1.000 m"},
            {"id": "d", "check": "level:R2", "value": "1.006 m"},
            *(
                {"id": f"{kind}-{rod}", "check": f"{kind}:R2.{rod}", "value": value}
                for kind, values in (("setback", setbacks), ("offset", offsets))
                for rod, value in enumerate(values, 1)
            ),
        ]
    )
