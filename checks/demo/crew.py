"""A simulated foundation, and the readings a crew takes of it.

For the demo and for measuring how often a likely cause is right: what was built is
known here, as it never is on a site. The spreads are ours, chosen so that ordinary
work mostly keeps the limits of metal building practice. No Django, no clock: the
same seed gives the same foundation and the same readings.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Literal
from uuid import UUID

import numpy as np

from checks.engine.arrays import FloatArray
from core.units import format_length
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.anchor_plan.geometry import list_walls, outline_points
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan

Entry = dict[str, Any]
LengthStyle = Literal["sixteenths", "decimal_feet", "millimetres", "metres"]

EXPANSION_PER_C = 11.6e-6  # steel tape; the evaluation corrects by the same
STANDARD_C = 20.0
READING_INTERVAL = timedelta(seconds=35)  # from one reading to the next
WALKING_TIME = timedelta(seconds=50)  # on the way to another position
ASCII_MARKS = str.maketrans("\u2032\u2033\u2044\u2212\u00a0", "'\"/- ")
LEVEL_KINDS = (CheckKind.LEVEL, CheckKind.BENCHMARK)
BENCHMARK = "BM1"
PLUMB_HEIGHT_MM = 4000.0

INSTRUMENTS: dict[str, dict[str, str]] = {
    "T1": {
        "kind": "steel tape",
        "class": "I",
        "standard_temperature": "20 degC",
    },
    "T2": {"kind": "steel tape", "class": "II", "standard_temperature": "20 degC"},
    "L1": {"kind": "optical level"},
    "L2": {"kind": "optical level", "standard_uncertainty": "0.7 mm"},
}
"""What the crews carry, as the exchange document's `instruments`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundationSpread:
    """How far a foundation strays from its plan, standard deviations. [mm, rad]

    Attributes
    ----------
    corner : each corner of the outline, either axis. [mm]
    line : each reference line along its wall. [mm]
    inward : each pattern square to its wall. [mm]
    turn : each pattern about its middle. [rad]
    rod : each rod within its pattern, either axis. [mm]
    projection : each rod's top. [mm]
    pad : each pad's height. [mm]
    notch : width and depth. [mm]
    lean : each column, either axis, per height. [1]
    """

    corner: float = 1.5
    line: float = 0.8
    inward: float = 0.7
    turn: float = 0.002
    rod: float = 0.45
    projection: float = 3.0
    pad: float = 0.9
    notch: float = 1.5
    lean: float = 0.0006

    def scale(self, factor: float) -> "FoundationSpread":
        """The same concrete, better or worse made throughout."""
        return FoundationSpread(
            **{n: factor * getattr(self, n) for n in self.__slots__}
        )


NO_SPREAD = FoundationSpread().scale(0.0)
CAREFUL_SPREAD = FoundationSpread().scale(0.55)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BuiltFoundation:
    """What was built, position by position in the plan's order.

    Attributes
    ----------
    plan : what it should have been.
    corners : array, shape (n_corners, 2), plan axes. [mm]
    line : array, shape (n_positions,), how far each reference line is off. [mm]
    rods : one array per position, shape (n_rods, 2): along from the reference line as
        built, in from the steel line as built. [mm]
    projections : one array per position, shape (n_rods,). [mm]
    pads : array, shape (n_positions,), heights. [mm]
    notches : array, shape (n_corners, 2), width and depth by wall. [mm]
    leans : array, shape (n_positions, 2), along and in, per height. [1]
    """

    plan: Plan
    corners: FloatArray
    line: FloatArray
    rods: tuple[FloatArray, ...]
    projections: tuple[FloatArray, ...]
    pads: FloatArray
    notches: FloatArray
    leans: FloatArray

    def position_index(self, mark: str) -> int:
        """Which of the plan's positions a mark is."""
        return next(i for i, p in enumerate(self.plan.positions) if p.mark == mark)


def build_foundation(
    plan: Plan, seed: int, spreads: FoundationSpread | None = None
) -> BuiltFoundation:
    """Build a foundation after a plan, as well as the spreads say. [mm]"""
    rng = np.random.default_rng(seed)
    by = spreads or FoundationSpread()
    outline = outline_points(plan)
    details = [plan.details[position.detail] for position in plan.positions]
    planned = [np.array([(r.along, r.inward) for r in d.rods]) for d in details]
    heights = [np.array([r.projection or 0.0 for r in d.rods]) for d in details]
    count = len(details)
    line = rng.normal(0.0, by.line, count)
    inward = rng.normal(0.0, by.inward, count)
    turn = rng.normal(0.0, by.turn, count)
    notch = plan.notch
    size = (0.0, 0.0) if notch is None else (notch.width, notch.depth)
    return BuiltFoundation(
        plan=plan,
        corners=outline + rng.normal(0.0, by.corner, outline.shape),
        line=line,
        rods=tuple(
            _rotate_points(points, angle)
            + np.array([0.0, step])
            + rng.normal(0.0, by.rod, points.shape)
            for points, angle, step in zip(planned, turn, inward, strict=True)
        ),
        projections=tuple(
            tops + rng.normal(0.0, by.projection, tops.shape) for tops in heights
        ),
        pads=rng.normal(0.0, by.pad, count),
        notches=np.array(size) + rng.normal(0.0, by.notch, (len(outline), 2)),
        leans=rng.normal(0.0, by.lean, (count, 2)),
    )


def _rotate_points(points: FloatArray, angle: float) -> FloatArray:
    """Points turned counter-clockwise about their middle. [mm, rad]"""
    middle = points.mean(axis=0)
    cos, sin = math.cos(angle), math.sin(angle)
    return np.asarray(middle + (points - middle) @ np.array([[cos, sin], [-sin, cos]]))


def shift_pattern(
    built: BuiltFoundation, mark: str, along: float = 0.0, inward: float = 0.0
) -> BuiltFoundation:
    """The same with one pattern somewhere else. [mm]"""
    which = built.position_index(mark)
    on_wall = built.plan.positions[which].wall is not None
    line = built.line.copy()
    line[which] += along if on_wall else 0.0
    rods = list(built.rods)
    rods[which] = rods[which] + np.array([0.0 if on_wall else along, inward])
    return replace(built, line=line, rods=tuple(rods))


def shift_rod(
    built: BuiltFoundation, mark: str, rod: int, along: float, inward: float
) -> BuiltFoundation:
    """The same with one rod somewhere else. [mm]"""
    which = built.position_index(mark)
    rods = list(built.rods)
    rods[which] = rods[which].copy()
    rods[which][rod - 1] += (along, inward)
    return replace(built, rods=tuple(rods))


def shift_pad(built: BuiltFoundation, mark: str, height: float) -> BuiltFoundation:
    """The same with one pad higher or, negative, lower. [mm]"""
    pads = built.pads.copy()
    pads[built.position_index(mark)] += height
    return replace(built, pads=pads)


def shorten_rod(
    built: BuiltFoundation, mark: str, rod: int, by: float
) -> BuiltFoundation:
    """The same with one rod standing lower. [mm]"""
    which = built.position_index(mark)
    tops = list(built.projections)
    tops[which] = tops[which].copy()
    tops[which][rod - 1] -= by
    return replace(built, projections=tuple(tops))


def shift_corner(
    built: BuiltFoundation, name: str, x: float, y: float
) -> BuiltFoundation:
    """The same with one corner of the outline somewhere else. [mm]"""
    corners = built.corners.copy()
    names = [corner.name for corner in built.plan.outline]
    corners[names.index(name)] += (x, y)
    return replace(built, corners=corners)


def compute_true_value(built: BuiltFoundation, check: Check) -> float:
    """Give what a perfect crew would read of a check, grade-rod readings aside. [mm]

    A line is from its wall's first corner; a lean is over `PLUMB_OVER_MM`.
    """
    if check.kind in (CheckKind.DIAGONAL, CheckKind.WALL):
        names = [corner.name for corner in built.plan.outline]
        first, second = (built.corners[names.index(name)] for name in check.corners)
        return math.dist(first, second)
    if check.kind in (CheckKind.NOTCH_WIDTH, CheckKind.NOTCH_DEPTH):
        wall = list_walls(built.plan).index((check.corners[0], check.corners[1]))
        return float(built.notches[wall, int(check.kind is CheckKind.NOTCH_DEPTH)])
    which = built.position_index(check.mark or "")
    rods = built.rods[which]
    numbers = [number - 1 for number in check.rods]
    of: dict[CheckKind, Callable[[], float]] = {
        CheckKind.LINE: lambda: (check.nominal or 0.0) + float(built.line[which]),
        CheckKind.OFFSET: lambda: float(rods[numbers[0], 0]),
        CheckKind.SETBACK: lambda: float(rods[numbers[0], 1]),
        CheckKind.GAGE: lambda: math.dist(rods[numbers[0]], rods[numbers[1]]),
        CheckKind.PROJECTION: lambda: float(built.projections[which][numbers[0]]),
        CheckKind.PLUMB: lambda: (
            PLUMB_HEIGHT_MM * float(built.leans[which, int(check.axis == "in")])
        ),
    }
    return of[check.kind]()


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    """Who reads, with what, and how they write.

    Attributes
    ----------
    temperature_c : of the tape; None where nobody wrote it down. [°C]
    noise : of a tape reading, standard deviation; per_metre adds to it. [mm]
    level_noise : of a grade-rod reading, standard deviation. [mm]
    setups : how many set-ups the pads are read from.
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


PERFECT = Crew(name="crew 0", noise=0.0, per_metre=0.0, level_noise=0.0)


@dataclass(slots=True, kw_only=True)
class CrewReading:
    """One reading as the crew saw it, before it is written down. [mm]"""

    check: Check
    mm: float
    setup: str | None = None
    start: str | None = None  # the corner a line was measured from


def take_readings(
    built: BuiltFoundation,
    crew: Crew,
    rng: np.random.Generator,
    checks: Iterable[Check],
) -> list[CrewReading]:
    """Read checks off a foundation in their order, pads from the crew's set-ups."""
    listed = list(checks)
    taken = [
        _read_with_tape(built, crew, rng, check)
        for check in listed
        if check.kind != CheckKind.LEVEL
    ]
    pads = [check for check in listed if check.kind == CheckKind.LEVEL]
    return taken + (read_pads(built, crew, rng, pads) if pads else [])


def _read_with_tape(
    built: BuiltFoundation, crew: Crew, rng: np.random.Generator, check: Check
) -> CrewReading:
    true = compute_true_value(built, check)
    if check.kind is CheckKind.PLUMB:
        return CrewReading(check=check, mm=true + rng.normal(0.0, crew.noise))
    start = None
    if check.kind is CheckKind.LINE and rng.random() < 0.15:
        start = check.corners[1]  # the tape was stretched from the other end
        names = [corner.name for corner in built.plan.outline]
        ends = [built.corners[names.index(name)] for name in check.corners]
        true = math.dist(*ends) - true
    sigma = crew.noise + crew.per_metre * abs(true) / 1000.0
    warm = (STANDARD_C if crew.temperature_c is None else crew.temperature_c) - 20.0
    seen = true / (1.0 + EXPANSION_PER_C * warm) + rng.normal(0.0, sigma)
    return CrewReading(check=check, mm=float(seen), start=start)


def read_pads(
    built: BuiltFoundation,
    crew: Crew,
    rng: np.random.Generator,
    pads: list[Check],
    first_setup: int = 1,
) -> list[CrewReading]:
    """Read pads from one or more set-ups, each opened and closed on a benchmark."""
    key = CheckKey.for_name(CheckKind.BENCHMARK, BENCHMARK)
    mark = Check(key=key, kind=CheckKind.BENCHMARK, name=BENCHMARK)
    share = math.ceil(len(pads) / crew.setups)
    taken: list[CrewReading] = []
    for number in range(crew.setups):
        sight = 1450.0 + rng.normal(0.0, 70.0)
        name = str(first_setup + number)
        mine = [mark, *pads[number * share : (number + 1) * share], mark]
        for check in mine:
            height = 60.0
            if check.mark is not None:
                height = float(built.pads[built.position_index(check.mark)])
            seen = sight - height + rng.normal(0.0, crew.level_noise)
            taken.append(CrewReading(check=check, mm=float(seen), setup=name))
    return taken


def write_entries(
    taken: Iterable[CrewReading], crew: Crew, rng: np.random.Generator, begun: datetime
) -> list[Entry]:
    """Write readings as exchange-document entries, with ids, times and who."""
    at, before = begun, None
    entries = []
    for each in taken:
        at += READING_INTERVAL + (
            WALKING_TIME if each.check.mark != before else timedelta(0)
        )
        before = each.check.mark
        levelled = each.check.kind in LEVEL_KINDS
        entry: Entry = {
            "id": str(UUID(bytes=rng.bytes(16), version=4)),
            "check": each.check.key,
            "value": write_length(each.mm, crew.length_style),
            "by": crew.name,
            "at": at.isoformat(),
            "instrument": crew.level if levelled else crew.tape,
        }
        if levelled:
            entry["setup"] = each.setup or "1"
        elif each.check.kind is CheckKind.PLUMB:
            entry["height"] = f"{PLUMB_HEIGHT_MM:.0f} mm"
        elif crew.temperature_c is not None:
            entry["temperature"] = _write_temperature(crew)
        if each.start is not None:
            entry["from"] = each.start
        entries.append(entry)
    return entries


def write_length(mm: float, hand: LengthStyle) -> str:
    """Write a length as this hand does. [mm]"""
    if hand == "decimal_feet" and abs(mm) > 900.0:
        return f"{mm / 304.8:.3f} ft"
    if hand == "metres" and abs(mm) > 2000.0:
        return f"{mm / 1000.0:.3f} m"
    if hand in ("millimetres", "metres"):
        return f"{mm:.0f} mm"
    return format_length(mm, "imperial", 16).translate(ASCII_MARKS)


def _write_temperature(crew: Crew) -> str:
    celsius = STANDARD_C if crew.temperature_c is None else crew.temperature_c
    if crew.length_style in ("millimetres", "metres"):
        return f"{celsius:.0f} degC"
    return f"{celsius * 1.8 + 32.0:.0f} degF"


def list_stage_checks(plan: Plan, *stages: str, optional: bool = False) -> list[Check]:
    """List what these stages ask for; with `optional`, gages and the notch too."""
    return [
        check
        for check in build_check_sheet(plan)
        if check.stage in stages and (check.required or optional)
    ]
