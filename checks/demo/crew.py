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
from jobs.plan.geometry import outline_points, walls
from jobs.plan.model import Plan
from jobs.plan.sheet import Check, Kind, check_sheet

Entry = dict[str, Any]
Hand = Literal["sixteenths", "decimal_feet", "millimetres", "metres"]

EXPANSION_PER_C = 11.6e-6  # steel tape; the evaluation corrects by the same
STANDARD_C = 20.0
PAUSE = timedelta(seconds=35)  # from one reading to the next
WALK = timedelta(seconds=50)  # on the way to another position
PLAIN = str.maketrans("\u2032\u2033\u2044\u2212\u00a0", "'\"/- ")
BY_LEVEL = (Kind.LEVEL, Kind.BENCHMARK)
BENCHMARK = "BM1"
PLUMB_OVER_MM = 4000.0

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
class Spreads:
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

    def times(self, factor: float) -> "Spreads":
        """The same concrete, better or worse made throughout."""
        return Spreads(**{n: factor * getattr(self, n) for n in self.__slots__})


AS_DRAWN = Spreads().times(0.0)
CAREFUL = Spreads().times(0.55)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Foundation:
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

    def place(self, mark: str) -> int:
        """Which of the plan's positions a mark is."""
        return next(i for i, p in enumerate(self.plan.positions) if p.mark == mark)


def build(plan: Plan, seed: int, spreads: Spreads | None = None) -> Foundation:
    """Build a foundation after a plan, as well as the spreads say. [mm]"""
    rng = np.random.default_rng(seed)
    by = spreads or Spreads()
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
    return Foundation(
        plan=plan,
        corners=outline + rng.normal(0.0, by.corner, outline.shape),
        line=line,
        rods=tuple(
            _turned(points, angle)
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


def _turned(points: FloatArray, angle: float) -> FloatArray:
    """Points turned counter-clockwise about their middle. [mm, rad]"""
    middle = points.mean(axis=0)
    cos, sin = math.cos(angle), math.sin(angle)
    return np.asarray(middle + (points - middle) @ np.array([[cos, sin], [-sin, cos]]))


def misplaced(
    built: Foundation, mark: str, along: float = 0.0, inward: float = 0.0
) -> Foundation:
    """The same with one pattern somewhere else. [mm]"""
    which = built.place(mark)
    on_wall = built.plan.positions[which].wall is not None
    line = built.line.copy()
    line[which] += along if on_wall else 0.0
    rods = list(built.rods)
    rods[which] = rods[which] + np.array([0.0 if on_wall else along, inward])
    return replace(built, line=line, rods=tuple(rods))


def rod_off(
    built: Foundation, mark: str, rod: int, along: float, inward: float
) -> Foundation:
    """The same with one rod somewhere else. [mm]"""
    which = built.place(mark)
    rods = list(built.rods)
    rods[which] = rods[which].copy()
    rods[which][rod - 1] += (along, inward)
    return replace(built, rods=tuple(rods))


def pad_off(built: Foundation, mark: str, height: float) -> Foundation:
    """The same with one pad higher or, negative, lower. [mm]"""
    pads = built.pads.copy()
    pads[built.place(mark)] += height
    return replace(built, pads=pads)


def short_rod(built: Foundation, mark: str, rod: int, by: float) -> Foundation:
    """The same with one rod standing lower. [mm]"""
    which = built.place(mark)
    tops = list(built.projections)
    tops[which] = tops[which].copy()
    tops[which][rod - 1] -= by
    return replace(built, projections=tuple(tops))


def corner_off(built: Foundation, name: str, x: float, y: float) -> Foundation:
    """The same with one corner of the outline somewhere else. [mm]"""
    corners = built.corners.copy()
    names = [corner.name for corner in built.plan.outline]
    corners[names.index(name)] += (x, y)
    return replace(built, corners=corners)


def true_length(built: Foundation, check: Check) -> float:
    """Give what a perfect crew would read of a check, grade-rod readings aside. [mm]

    A line is from its wall's first corner; a lean is over `PLUMB_OVER_MM`.
    """
    if check.kind in (Kind.DIAGONAL, Kind.WALL):
        names = [corner.name for corner in built.plan.outline]
        first, second = (built.corners[names.index(name)] for name in check.corners)
        return math.dist(first, second)
    if check.kind in (Kind.NOTCH_WIDTH, Kind.NOTCH_DEPTH):
        wall = walls(built.plan).index((check.corners[0], check.corners[1]))
        return float(built.notches[wall, int(check.kind is Kind.NOTCH_DEPTH)])
    which = built.place(check.mark or "")
    rods = built.rods[which]
    numbers = [number - 1 for number in check.rods]
    of: dict[Kind, Callable[[], float]] = {
        Kind.LINE: lambda: (check.nominal or 0.0) + float(built.line[which]),
        Kind.OFFSET: lambda: float(rods[numbers[0], 0]),
        Kind.SETBACK: lambda: float(rods[numbers[0], 1]),
        Kind.GAGE: lambda: math.dist(rods[numbers[0]], rods[numbers[1]]),
        Kind.PROJECTION: lambda: float(built.projections[which][numbers[0]]),
        Kind.PLUMB: lambda: (
            PLUMB_OVER_MM * float(built.leans[which, int(check.axis == "in")])
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
    hand: Hand = "sixteenths"
    tape: str = "T1"
    level: str = "L1"
    temperature_c: float | None = STANDARD_C
    noise: float = 0.3
    per_metre: float = 0.005
    level_noise: float = 0.4
    setups: int = 1


PERFECT = Crew(name="crew 0", noise=0.0, per_metre=0.0, level_noise=0.0)


@dataclass(slots=True, kw_only=True)
class Taken:
    """One reading as the crew saw it, before it is written down. [mm]"""

    check: Check
    mm: float
    setup: str | None = None
    start: str | None = None  # the corner a line was measured from


def take(
    built: Foundation, crew: Crew, rng: np.random.Generator, checks: Iterable[Check]
) -> list[Taken]:
    """Read checks off a foundation in their order, pads from the crew's set-ups."""
    listed = list(checks)
    taken = [
        _taped(built, crew, rng, check) for check in listed if check.kind != Kind.LEVEL
    ]
    pads = [check for check in listed if check.kind == Kind.LEVEL]
    return taken + (take_levels(built, crew, rng, pads) if pads else [])


def _taped(
    built: Foundation, crew: Crew, rng: np.random.Generator, check: Check
) -> Taken:
    true = true_length(built, check)
    if check.kind is Kind.PLUMB:
        return Taken(check=check, mm=true + rng.normal(0.0, crew.noise))
    start = None
    if check.kind is Kind.LINE and rng.random() < 0.15:
        start = check.corners[1]  # the tape was stretched from the other end
        names = [corner.name for corner in built.plan.outline]
        ends = [built.corners[names.index(name)] for name in check.corners]
        true = math.dist(*ends) - true
    sigma = crew.noise + crew.per_metre * abs(true) / 1000.0
    warm = (STANDARD_C if crew.temperature_c is None else crew.temperature_c) - 20.0
    seen = true / (1.0 + EXPANSION_PER_C * warm) + rng.normal(0.0, sigma)
    return Taken(check=check, mm=float(seen), start=start)


def take_levels(
    built: Foundation,
    crew: Crew,
    rng: np.random.Generator,
    pads: list[Check],
    first_setup: int = 1,
) -> list[Taken]:
    """Read pads from one or more set-ups, each opened and closed on a benchmark."""
    mark = Check(key=f"benchmark:{BENCHMARK}", kind=Kind.BENCHMARK, name=BENCHMARK)
    share = math.ceil(len(pads) / crew.setups)
    taken: list[Taken] = []
    for number in range(crew.setups):
        sight = 1450.0 + rng.normal(0.0, 70.0)
        name = str(first_setup + number)
        mine = [mark, *pads[number * share : (number + 1) * share], mark]
        for check in mine:
            height = 60.0
            if check.mark is not None:
                height = float(built.pads[built.place(check.mark)])
            seen = sight - height + rng.normal(0.0, crew.level_noise)
            taken.append(Taken(check=check, mm=float(seen), setup=name))
    return taken


def write_down(
    taken: Iterable[Taken], crew: Crew, rng: np.random.Generator, begun: datetime
) -> list[Entry]:
    """Write readings as exchange-document entries, with ids, times and who."""
    at, before = begun, None
    entries = []
    for each in taken:
        at += PAUSE + (WALK if each.check.mark != before else timedelta(0))
        before = each.check.mark
        levelled = each.check.kind in BY_LEVEL
        entry: Entry = {
            "id": str(UUID(bytes=rng.bytes(16), version=4)),
            "check": each.check.key,
            "value": typed(each.mm, crew.hand),
            "by": crew.name,
            "at": at.isoformat(),
            "instrument": crew.level if levelled else crew.tape,
        }
        if levelled:
            entry["setup"] = each.setup or "1"
        elif each.check.kind is Kind.PLUMB:
            entry["height"] = f"{PLUMB_OVER_MM:.0f} mm"
        elif crew.temperature_c is not None:
            entry["temperature"] = _degrees(crew)
        if each.start is not None:
            entry["from"] = each.start
        entries.append(entry)
    return entries


def typed(mm: float, hand: Hand) -> str:
    """Write a length as this hand does. [mm]"""
    if hand == "decimal_feet" and abs(mm) > 900.0:
        return f"{mm / 304.8:.3f} ft"
    if hand == "metres" and abs(mm) > 2000.0:
        return f"{mm / 1000.0:.3f} m"
    if hand in ("millimetres", "metres"):
        return f"{mm:.0f} mm"
    return format_length(mm, "imperial", 16).translate(PLAIN)


def _degrees(crew: Crew) -> str:
    celsius = STANDARD_C if crew.temperature_c is None else crew.temperature_c
    if crew.hand in ("millimetres", "metres"):
        return f"{celsius:.0f} degC"
    return f"{celsius * 1.8 + 32.0:.0f} degF"


def checks_of(plan: Plan, *stages: str, optional: bool = False) -> list[Check]:
    """List what these stages ask for; with `optional`, gages and the notch too."""
    return [
        check
        for check in check_sheet(plan)
        if check.stage in stages and (check.required or optional)
    ]
