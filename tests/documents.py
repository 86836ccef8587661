"""Exchange documents for tests: one invented building, read perfectly or not."""

import copy
from collections.abc import Callable
from typing import Any

from core.units import format_length
from jobs.anchor_plan.check_keys import PAIR_KINDS, CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.exchange.input.parser import parse_building

Document = dict[str, Any]

PLATE = {"thickness": '5/8"', "hole_diameter": '1 1/16"', "edge_distance": '1 3/4"'}


def plan(length_unit: str = "in") -> Document:
    """A 96 ft by 64 ft shed, three frames, one corner detail: invented."""
    rods = [
        {"in": inward, "along": along, "diameter": '7/8"', "projection": '3 3/4"'}
        for inward in ('6"', '11"')
        for along in ('-2 1/4"', '2 1/4"')
    ]
    return {
        "format": "padstone.building/1",
        "name": "Alder Bank seed store",
        "length_unit": length_unit,
        "outline": [
            {"corner": "SW", "x": "0 ft", "y": "0 ft"},
            {"corner": "SE", "x": "96'", "y": "0 ft"},
            {"corner": "NE", "x": "96'", "y": "64'"},
            {"corner": "NW", "x": "0 ft", "y": "64'"},
        ],
        "diagonals": [["SW", "NE"], ["SE", "NW"]],
        "notch": {"width": '1 3/8"', "depth": '1 3/8"'},
        "tolerances": {"basis": "metal-building-practice"},
        "shim_thicknesses": ['1/16"', '1/8"', '1/4"', '1/2"'],
        "details": {
            "M": {"reference": "centreline", "plate": PLATE, "rods": rods},
        },
        "positions": [
            {"mark": f"{row}{number}", "wall": wall, "along": along, "detail": "M"}
            for row, wall in (("A", "SW-SE"), ("B", "NE-NW"))
            for number, along in ((1, "24'"), (2, "48'"), (3, "72'"))
        ],
        "concrete": {"specified_strength": "3500 psi"},
        "instruments": {
            "T1": {
                "kind": "steel tape",
                "class": "I",
                "standard_temperature": "20 degC",
            },
            "L1": {"kind": "optical level"},
        },
        "readings": [],
    }


def set_rods_apart(document: Document) -> Document:
    """Set rods a foot apart, so that a new one keeps its distance from the others."""
    for rod in document["details"]["M"]["rods"]:
        rod["along"] = '-6"' if rod["along"].startswith("-") else '6"'
        rod["in"] = '6"' if rod["in"] == '6"' else '18"'
    return document


def read_perfectly(document: Document) -> Document:
    """Every required check read once, exactly as planned; all pads alike."""
    checks = build_check_sheet(parse_building(document).plan)
    done = copy.deepcopy(document)
    done["readings"] = [
        {
            "id": f"p{number}",
            "check": check.key,
            "value": "1400 mm"
            if check.kind is CheckKind.LEVEL
            else f"{check.nominal:.6f} mm",
            "by": "crew 3",
            "at": "2026-04-20T09:30:00Z",
            "instrument": "L1" if check.kind is CheckKind.LEVEL else "T1",
            **({} if check.kind is CheckKind.LEVEL else {"temperature": "20 degC"}),
        }
        for number, check in enumerate(checks)
        if check.kind not in (CheckKind.PLUMB, CheckKind.GAGE, *PAIR_KINDS)
    ]
    done["readings"].append(
        {
            "id": "strength-1",
            "check": "strength:F1",
            "value": "2900 psi",
            "by": "laboratory",
            "at": "2026-04-27T12:00:00Z",
        }
    )
    return done


def shed(change: Callable[[Document], None] | None = None) -> Document:
    """The shed read perfectly, then changed."""
    document = read_perfectly(plan())
    if change:
        change(document)
    return document


def confirm(document: Document) -> Document:
    """Repeat every reading but the samples by another crew on the next day."""
    document["readings"] += [
        {
            **reading,
            "id": f"{reading['id']}-again",
            "by": "crew 4",
            "at": "2026-04-21T10:00:00Z",
        }
        for reading in document["readings"]
        if not reading["check"].startswith("strength:")
    ]
    return document


def level_precisely(document: Document) -> None:
    """Read the pads with a level good to a ten-thousandth.

    The datum of the pads is then the highest reading, and heights are differences.
    """
    document["instruments"]["L1"]["standard_uncertainty"] = "0.0001 mm"
    for reading in document["readings"]:
        if reading["check"].startswith("level:"):
            # As typed, "1400 mm" says no more than a millimetre.
            reading["value"] = f"{float(reading['value'].removesuffix(' mm')):.6f} mm"


def off_by(document: Document, check: str, mm: float) -> None:
    """Make the reading of a check this much larger. [mm]"""
    reading = reading_of(document, check)
    reading["value"] = f"{float(reading['value'].removesuffix(' mm')) + mm:.6f} mm"


def reading_of(document: Document, check: str) -> Document:
    """The first reading of a check."""
    return next(r for r in document["readings"] if r["check"] == check)


def as_imperial(document: Document, denominator: int = 64) -> Document:
    """The same with every millimetre reading typed in feet, inches and fractions."""
    changed = copy.deepcopy(document)
    for reading in changed["readings"]:
        if str(reading["value"]).endswith(" mm"):
            mm = float(reading["value"].removesuffix(" mm"))
            reading["value"] = format_length(mm, "imperial", denominator)
    return changed
