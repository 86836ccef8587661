"""An invented building and one entry point, shared by the tests of `evaluate`.

Only what the exchange document promises is used here: a document goes in as JSON
text, a result comes out, and both are held to their published schemas on the way.
"""

import copy
import json
import math
from functools import cache
from typing import Any

import jsonschema

from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building_text
from jobs.exchange.issues import DocumentError
from jobs.exchange.published_schemas import building_schema, result_schema

Document = dict[str, Any]

INCH = 25.4
FOOT = 304.8
PSI = 0.45359237 * 9.80665 / 25.4**2  # MPa; NIST SP 811 B.8
LENGTH, WIDTH = 24000.0, 15000.0
DIAGONAL = math.hypot(LENGTH, WIDTH)


@cache
def _document_validators() -> tuple[Any, Any]:
    make = jsonschema.Draft202012Validator
    return make(building_schema()), make(result_schema())


def evaluate_document(document: Document) -> Document:
    """The result of a document, both of them fitting their schemas."""
    text = json.dumps(document)
    building, result = _document_validators()
    given = parse_building_text(text)
    building.validate(document)
    written = json.loads(json.dumps(evaluate(given), allow_nan=False))
    result.validate(written)
    return dict(written)


def list_refusals(document: Document | str) -> dict[str, str]:
    """The errors of a document that has to be refused, by pointer."""
    text = document if isinstance(document, str) else json.dumps(document)
    try:
        parse_building_text(text)
    except DocumentError as error:
        return {each.pointer: each.message for each in error.issues}
    raise AssertionError("the document was accepted")


def rods(*places: tuple[float, float], diameter: str = "20 mm") -> list[Document]:
    """Planned rods at (along, in), in mm."""
    return [
        {
            "along": f"{along} mm",
            "in": f"{inward} mm",
            "diameter": diameter,
            "projection": "90 mm",
        }
        for along, inward in places
    ]


SQUARE = ((-60.0, 150.0), (60.0, 150.0), (-60.0, 270.0), (60.0, 270.0))


def building(**members: Any) -> Document:
    """A hall of 24 m by 15 m with a column on each wall: invented. [mm]"""
    document: Document = {
        "format": "padstone.building/1",
        "name": "Marram Point boat hall",
        "length_unit": "mm",
        "outline": [
            {"corner": "A", "x": 0, "y": 0},
            {"corner": "B", "x": LENGTH, "y": 0},
            {"corner": "C", "x": LENGTH, "y": WIDTH},
            {"corner": "D", "x": 0, "y": WIDTH},
        ],
        "details": {
            "Q": {
                "reference": "centreline",
                "plate": {
                    "thickness": "16 mm",
                    "hole_diameter": "26 mm",
                    "edge_distance": "45 mm",
                },
                "rods": rods(*SQUARE),
            }
        },
        "positions": [
            {"mark": "S", "wall": "A-B", "along": 8000, "detail": "Q"},
            {"mark": "E", "wall": "B-C", "along": 7000, "detail": "Q"},
            {"mark": "N", "wall": "C-D", "along": 9000, "detail": "Q"},
            {"mark": "W", "wall": "D-A", "along": 6000, "detail": "Q"},
        ],
        "shim_thicknesses": ["2 mm", "3 mm", "6 mm"],
        "concrete": {"specified_strength": "25 MPa"},
        "instruments": {
            "T": {"kind": "steel tape", "class": "II"},
            "L": {"kind": "optical level"},
        },
        "readings": [],
    }
    document.update(copy.deepcopy(members))
    return document


def read(document: Document, check: str, value: object, **members: Any) -> Document:
    """The same document with one more reading; a bare number is in mm."""
    number = len(document.setdefault("readings", [])) + 1
    document["readings"].append(
        {"id": f"r{number}", "check": check, "value": value} | members
    )
    return document


def read_rods(
    document: Document, mark: str, built: list[tuple[float, float]]
) -> Document:
    """Setback and offset of every rod of a position, as built at (along, in). [mm]"""
    for number, (along, inward) in enumerate(built, start=1):
        read(document, f"setback:{mark}.{number}", inward, temperature="20 degC")
        read(document, f"offset:{mark}.{number}", along, temperature="20 degC")
    return document


def confirm(document: Document) -> Document:
    """Every reading taken by a second person, too, with the same value."""
    for reading in list(document["readings"]):
        reading["by"] = "first crew"
        again = {"id": f"{reading['id']} again", "by": "second crew"}
        document["readings"].append(reading | again)
    return document


def check(result: Document, key: str) -> Document:
    """The one check of this key."""
    (found,) = [each for each in result["checks"] if each["check"] == key]
    return dict(found)


def position(result: Document, mark: str) -> Document:
    """The one position of this mark."""
    (found,) = [each for each in result["positions"] if each["mark"] == mark]
    return dict(found)


def pad(result: Document, mark: str) -> Document:
    """The one pad of this mark."""
    (found,) = [each for each in result["levels"]["pads"] if each["mark"] == mark]
    return dict(found)


def finding(result: Document, topic: str) -> Document:
    """The one finding of this topic."""
    (found,) = [each for each in result["findings"] if each["finding"] == topic]
    return dict(found)


def topics(result: Document) -> list[str]:
    """What the findings are about, in order."""
    return [each["finding"] for each in result["findings"]]


def tape_class(value_mm: float, accuracy_class: str = "II") -> float:
    """Standard uncertainty of a tape's class, OIML R 35-1, rectangular. [mm]"""
    fixed, per_metre = {"I": (0.1, 0.1), "II": (0.3, 0.2), "III": (0.6, 0.4)}[
        accuracy_class
    ]
    return (fixed + per_metre * math.ceil(abs(value_mm) / 1000)) / math.sqrt(3)


def level_precisely(document: Document) -> Document:
    """The same document with a level that reads to 0.0001 mm.

    The datum of the pads is then the highest reading, and heights are differences of
    readings: how the rest follows from them can be worked by hand.
    """
    precise = copy.deepcopy(document)
    precise["instruments"]["L"]["standard_uncertainty"] = "0.0001 mm"
    for reading in precise["readings"]:
        if reading["check"].startswith(("level:", "benchmark:")):
            reading["instrument"] = reading.get("instrument", "L")
            if isinstance(reading["value"], (int, float)):
                reading["value"] = f"{reading['value']:.6f} mm"
    return precise
