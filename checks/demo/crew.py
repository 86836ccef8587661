"""A simulated crew and the readings it takes of a foundation.

Neither Django nor a clock is used: the same seed gives the same readings.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal
from uuid import UUID

import numpy as np

from checks.demo.foundation import (
    PLUMB_HEIGHT_MM,
    BuiltFoundation,
    compute_true_value,
)
from core.units import format_length
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan

Entry = dict[str, Any]
LengthStyle = Literal["sixteenths", "decimal_feet", "millimetres", "metres"]

# The coefficient the evaluation corrects by: otherwise perfect readings would be off.
EXPANSION_PER_C = 11.6e-6
STANDARD_C = 20.0
# A crew's pace, so that the times of its readings are plausible.
READING_INTERVAL = timedelta(seconds=35)
WALKING_TIME = timedelta(seconds=50)
# A crew types plain marks; the formatter writes typographic ones.
ASCII_MARKS = str.maketrans("\u2032\u2033\u2044\u2212\u00a0", "'\"/- ")
LEVEL_KINDS = (CheckKind.LEVEL, CheckKind.BENCHMARK)
BENCHMARK = "BM1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    """A crew: its instruments, its precision and its way of writing lengths.

    Attributes
    ----------
    temperature_c : of the tape; None where it is not recorded. [°C]
    noise : standard deviation of a tape reading. [mm]
    per_metre : its growth with the length. [mm/m]
    level_noise : standard deviation of a grade-rod reading. [mm]
    setups : number of set-ups for the pads.
    """

    name: str = "crew 1"
    length_style: LengthStyle = "sixteenths"
    tape: str = "T1"
    level: str = "L1"
    temperature_c: float | None = STANDARD_C
    noise: float = 0.3
    per_metre: float = 0.005
    level_noise: float = 0.4
    setups: int = 1


@dataclass(slots=True, kw_only=True)
class CrewReading:
    """A reading before it is written down; `start` is the corner of a line. [mm]"""

    check: Check
    mm: float
    setup: str | None = None
    start: str | None = None


def take_readings(
    foundation: BuiltFoundation,
    crew: Crew,
    rng: np.random.Generator,
    checks: Iterable[Check],
) -> list[CrewReading]:
    """Read checks in their order, and the pads last, from the crew's set-ups."""
    listed = list(checks)
    readings = [
        _read_with_tape(foundation, crew, rng, check)
        for check in listed
        if check.kind != CheckKind.LEVEL
    ]
    pads = [check for check in listed if check.kind == CheckKind.LEVEL]
    return readings + (read_pads(foundation, crew, rng, pads) if pads else [])


def _read_with_tape(
    foundation: BuiltFoundation, crew: Crew, rng: np.random.Generator, check: Check
) -> CrewReading:
    true = compute_true_value(foundation, check)
    if check.kind is CheckKind.PLUMB:
        return CrewReading(check=check, mm=true + rng.normal(0.0, crew.noise))
    start = None
    # Crews measure a line from either corner of its wall.
    if check.kind is CheckKind.LINE and rng.random() < 0.15:
        start = check.corners[1]  # measured from the other end of the wall
        names = [corner.name for corner in foundation.plan.outline]
        ends = [foundation.corners[names.index(name)] for name in check.corners]
        true = math.dist(*ends) - true
    sigma = crew.noise + crew.per_metre * abs(true) / 1000.0
    warm = (STANDARD_C if crew.temperature_c is None else crew.temperature_c) - 20.0
    observed = true / (1.0 + EXPANSION_PER_C * warm) + rng.normal(0.0, sigma)
    return CrewReading(check=check, mm=float(observed), start=start)


def read_pads(
    foundation: BuiltFoundation,
    crew: Crew,
    rng: np.random.Generator,
    pads: list[Check],
    first_setup: int = 1,
) -> list[CrewReading]:
    """Read pads from one or more set-ups; each starts and ends on the benchmark."""
    key = CheckKey.for_name(CheckKind.BENCHMARK, BENCHMARK)
    mark = Check(key=key, kind=CheckKind.BENCHMARK, name=BENCHMARK)
    share = math.ceil(len(pads) / crew.setups)
    readings: list[CrewReading] = []
    for number in range(crew.setups):
        sight = 1450.0 + rng.normal(0.0, 70.0)
        name = str(first_setup + number)
        mine = [mark, *pads[number * share : (number + 1) * share], mark]
        for check in mine:
            # The benchmark, which is no pad.
            height = 60.0
            if check.mark is not None:
                height = float(foundation.pads[foundation.position_index(check.mark)])
            observed = sight - height + rng.normal(0.0, crew.level_noise)
            readings.append(CrewReading(check=check, mm=float(observed), setup=name))
    return readings


def write_entries(
    readings: Iterable[CrewReading],
    crew: Crew,
    rng: np.random.Generator,
    started: datetime,
) -> list[Entry]:
    """Write readings as entries of the exchange document."""
    at, previous_mark = started, None
    entries = []
    for each in readings:
        at += READING_INTERVAL + (
            WALKING_TIME if each.check.mark != previous_mark else timedelta(0)
        )
        previous_mark = each.check.mark
        by_level = each.check.kind in LEVEL_KINDS
        entry: Entry = {
            "id": str(UUID(bytes=rng.bytes(16), version=4)),
            "check": each.check.key,
            "value": write_length(each.mm, crew.length_style),
            "by": crew.name,
            "at": at.isoformat(),
            "instrument": crew.level if by_level else crew.tape,
        }
        if by_level:
            entry["setup"] = each.setup or "1"
        elif each.check.kind is CheckKind.PLUMB:
            entry["height"] = f"{PLUMB_HEIGHT_MM:.0f} mm"
        elif crew.temperature_c is not None:
            entry["temperature"] = _write_temperature(crew)
        if each.start is not None:
            entry["from"] = each.start
        entries.append(entry)
    return entries


def write_length(mm: float, style: LengthStyle) -> str:
    """Write a length in a crew's style. [mm]"""
    if style == "decimal_feet" and abs(mm) > 900.0:
        return f"{mm / 304.8:.3f} ft"
    if style == "metres" and abs(mm) > 2000.0:
        return f"{mm / 1000.0:.3f} m"
    if style in ("millimetres", "metres"):
        return f"{mm:.0f} mm"
    return format_length(mm, "imperial", 16).translate(ASCII_MARKS)


def _write_temperature(crew: Crew) -> str:
    celsius = STANDARD_C if crew.temperature_c is None else crew.temperature_c
    if crew.length_style in ("millimetres", "metres"):
        return f"{celsius:.0f} degC"
    return f"{celsius * 1.8 + 32.0:.0f} degF"


def list_stage_checks(plan: Plan, *stages: str, optional: bool = False) -> list[Check]:
    """List the checks of some stages; `optional` adds gages and the notch."""
    return [
        check
        for check in build_check_sheet(plan)
        if check.stage in stages and (check.required or optional)
    ]
