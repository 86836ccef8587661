"""Cases that the pages' JavaScript is tested with, computed by the server's own code.

`python -m tests.javascript` writes them to `cases.json`; a test fails where that
file and the server disagree.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

from checks.evaluation.evaluate import evaluate
from checks.forms.reading_rows import append_unit
from checks.queries.offline_limits import compute_offline_limits
from core.formatting import DisplayStyle, format_display_length
from core.units import UnitError, parse_length
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.exchange.input.parser import parse_building
from tests.example_buildings import shed

CASES_FILE = Path(__file__).with_name("cases.json")
LENGTHS = """
    66' 1/16" | 31'-7 1/2" | 31' 7 1/2" | 31'-1/2" | 31 ft 7.5 in | 4 1/2" | 7.125 m
    7125 mm | 712.5 cm | 5/8 in | -2 1/2" | +.5 in | 0 in | 10000 m | 10001 m | 31' 14"
    4 9/8" | 31' -7" | 31' 7 | 12 | 1/0 in | 1/2 mm | 2.5' 3" | - 4 in | 4,5 in
    0.0000004 mm | 1 1/3 ft | 31 '7"
    31\N{PRIME}-7\N{VULGAR FRACTION ONE HALF}\N{DOUBLE PRIME}
"""
FORMATTED_MM = (0.0, 0.4, -0.4, 1.6, 304.8, 20116.8, -9639.3, 3.175, 25.4)
LIMIT_MM = 3.175
# Within, on the limit, beyond it by less and by more than a fraction shows.
BESIDE_LIMIT_MM = (3.1, -3.175, 3.1750001, 3.18, -3.18, 3.5, -3.9)
UNITS = (
    ("4 1/2", "in"),
    (" 31 ", "ft"),
    ("-.5", "in"),
    ("31' 7\"", "in"),
    ("7.125 m", "ft"),
    ("2500", "psi"),
    ("", "in"),
)
# On the limit itself, a sixteenth beyond it, and from either corner of the wall.
READINGS = (
    {"check": "wall:A-B", "value": "66'"},
    {"check": "wall:A-B", "value": "66' 1/4\""},
    {"check": "wall:A-B", "value": "66' 5/16\""},
    {"check": "wall:A-B", "value": "66' 3/8\""},
    {"check": "wall:A-B", "value": "65' 11 3/4\""},
    {"check": "wall:A-B", "value": "65' 11 11/16\""},
    {"check": "wall:A-B", "value": "66.1 ft"},
    {"check": "line:S1", "value": "2'"},
    {"check": "line:S1", "value": "2' 1/8\""},
    {"check": "line:S1", "value": "2' 3/16\""},
    {"check": "line:S1", "value": "64'", "from": "B"},
    {"check": "line:S1", "value": "64' 1/8\"", "from": "B"},
    {"check": "line:S1", "value": "64' 3/16\"", "from": "B"},
)


def build_cases() -> dict[str, list[dict[str, Any]]]:
    """Compute every case with the server's code."""
    return {
        "parse": list(_parse_cases()),
        "format": list(_format_cases()),
        "limits": list(_limit_cases()),
        "units": [
            {"text": text, "unit": unit, "result": append_unit(text, unit)}
            for text, unit in UNITS
        ],
        "verdicts": list(_verdict_cases()),
    }


def _parse_cases() -> Iterator[dict[str, Any]]:
    for text in LENGTHS.replace("\n", "|").split("|"):
        try:
            mm = float(parse_length(text).mm)
        except UnitError:
            mm = None
        yield {"text": text, "mm": mm}


def _format_cases() -> Iterator[dict[str, Any]]:
    for style in get_args(DisplayStyle):
        for denominator, signed in ((16, True), (32, False)):
            for mm in FORMATTED_MM:
                text = format_display_length(
                    mm, style, denominator=denominator, signed=signed
                )
                yield {
                    "mm": mm,
                    "style": style,
                    "denominator": denominator,
                    "signed": signed,
                    "text": text,
                }


def _limit_cases() -> Iterator[dict[str, Any]]:
    for style in get_args(DisplayStyle):
        for mm in BESIDE_LIMIT_MM:
            text = format_display_length(
                mm, style, denominator=32, signed=True, limit_mm=LIMIT_MM
            )
            yield {"mm": mm, "limit": LIMIT_MM, "style": style, "text": text}


def _verdict_cases() -> Iterator[dict[str, Any]]:
    plan = parse_building(shed()).plan
    sheet = build_check_sheet(plan)
    limits_by_check = compute_offline_limits(plan, sheet)
    corners = {check.key: check.corners for check in sheet}
    for reading in READINGS:
        building = parse_building(shed(readings=[{"id": "one", **reading}]))
        rows = {row["check"]: row for row in evaluate(building)["checks"]}
        row = rows[reading["check"]]
        limits = limits_by_check[reading["check"]]
        given: dict[str, Any] = {
            "nominal": limits.nominal,
            "lower": limits.lower,
            "upper": limits.upper,
        }
        if limits.wall_length is not None:
            given |= {
                "whole": limits.wall_length,
                "first": corners[reading["check"]][0],
            }
        yield {
            "limits": given,
            "entry": reading,
            "verdict": row["verdict"],
            "deviation": row["deviation"],
        }
