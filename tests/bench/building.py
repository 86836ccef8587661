"""A whole building, measured with the noise of an invented crew."""

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.exchange.input.parser import parse_building

Document = dict[str, Any]
SIGMA_MM = {CheckKind.LEVEL: 2.0, CheckKind.PROJECTION: 2.0}
REPEAT_MM = 0.04  # spread of one careful reader
BAY_MM, DEPTH_MM = 7000.0, 18_000.0
MAX_LENGTH_MM = 9_000_000.0  # no wall is longer than 10 km
STARTED_AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
RODS = ((-65.0, 170.0), (65.0, 170.0), (-65.0, 320.0), (65.0, 320.0))


def build_document(positions: int = 60, seed: int = 5, *, far: bool = True) -> Document:
    """Build a document of four-rod positions on both long walls, all read twice.

    One position in fifteen has a rod `far` out of place.
    """
    rng = np.random.default_rng(seed)
    half = positions // 2
    bay = min(BAY_MM, MAX_LENGTH_MM // (half + 1))
    length = bay * (half + 1)
    document: Document = {
        "format": "padstone.building/1",
        "name": "Bench hall",
        "length_unit": "mm",
        "outline": [
            {"corner": name, "x": x, "y": y}
            for name, x, y in (
                ("SW", 0, 0),
                ("SE", length, 0),
                ("NE", length, DEPTH_MM),
                ("NW", 0, DEPTH_MM),
            )
        ],
        "shim_thicknesses": ["2 mm", "3 mm", "6 mm"],
        "details": {
            "R": {
                "reference": "centreline",
                "plate": {
                    "thickness": 15,
                    "hole_diameter": 27,
                    "edge_distance": 45,
                },
                "rods": [
                    {"in": inward, "along": along, "diameter": 22.2, "projection": 95}
                    for along, inward in RODS
                ],
            }
        },
        "positions": [
            {"mark": f"{row}{n}", "wall": wall, "along": bay * n, "detail": "R"}
            for row, wall in (("S", "SW-SE"), ("N", "NE-NW"))
            for n in range(1, half + 1)
        ],
        "concrete": {"specified_strength": "25 MPa", "placed_on": "2026-02-02"},
        "instruments": {"T": {"kind": "steel tape", "class": "II"},
                        "L": {"kind": "optical level"}},
    }  # fmt: skip
    document["readings"] = _simulate_readings(document, rng, far=far)
    return document


def _simulate_readings(
    document: Document, rng: np.random.Generator, *, far: bool
) -> list[Document]:
    """Simulate each check of the walk, and two gages a position, with noise."""
    readings: list[Document] = []

    def read(key: str, value: float, **more: str) -> None:
        count = len(readings)
        at = (STARTED_AT + timedelta(minutes=count // 60)).isoformat()
        readings.append({"id": f"b{len(readings)}", "check": key, "by": "crew 1",
                       "value": f"{value:.1f} mm", "at": at, **more})  # fmt: skip

    built = _build_rods(document, rng, far=far)
    for check in build_check_sheet(parse_building(document).plan):
        if check.kind in (
            CheckKind.LINE,
            CheckKind.GAGE,
            CheckKind.PLUMB,
            CheckKind.STRENGTH,
            CheckKind.BAY,
            CheckKind.SPAN,
        ):
            continue
        noise = rng.normal(0.0, SIGMA_MM.get(check.kind, 0.8))
        if check.kind is CheckKind.LEVEL:
            for setup in _list_setups(check.mark or ""):
                high = 1500.0 if setup == "1" else 1380.0
                read(check.key, high + noise + rng.normal(0, REPEAT_MM), setup=setup,
                     instrument="L")  # fmt: skip
            continue
        true_value = (check.nominal or 0.0) + noise
        if check.kind in (CheckKind.SETBACK, CheckKind.OFFSET):
            axis = int(check.kind is CheckKind.SETBACK)
            true_value = built[check.mark or ""][check.rods[0] - 1, axis]
        for _ in range(2):
            read(check.key, true_value + rng.normal(0.0, REPEAT_MM), instrument="T")
    for setup, high in (("1", 1200.0), ("2", 1080.0)):
        read("benchmark:BM", high, setup=setup, instrument="L")
    for position in document["positions"]:
        mark, error = position["mark"], rng.normal(0.0, 0.8)
        read(f"line:{mark}", position["along"] + error, instrument="T")
        for i, j in ((0, 1), (2, 3)):
            distance = float(np.hypot(*(built[mark][j] - built[mark][i])))
            gage = distance + rng.normal(0.0, REPEAT_MM)
            read(f"gage:{mark}.{i + 1}-{j + 1}", gage, instrument="T")
    readings.append({"id": "c", "check": "strength:F1", "value": "22 MPa"})
    return readings


def _build_rods(
    document: Document, rng: np.random.Generator, *, far: bool
) -> dict[str, np.ndarray]:
    """Draw the rods as built, along and in, of each position."""
    built = {}
    for order, position in enumerate(document["positions"]):
        rods = np.array(RODS) + rng.normal(0.0, 0.6, (4, 2))
        if far and order % 15 == 7:
            rods[1, 0] += 9.0
        built[position["mark"]] = rods
    return built


def _list_setups(mark: str) -> tuple[str, ...]:
    """List the set-ups of a pad: one for each side, and both at every fifth."""
    own = "1" if mark.startswith("S") else "2"
    return ("1", "2") if int(mark[1:]) % 5 == 0 else (own,)
