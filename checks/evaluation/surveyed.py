"""Readings of a survey: matched points brought onto the plan, and what they say.

Walls and diagonals are distances between surveyed corners. Everything else is read in
the plan's own axes, onto which the control was fitted: a position's reference line
stands where its rods are moved to on average, and each rod's offset is from there. An
elevation is turned into a grade-rod reading from an invented height of instrument.
"""

import hashlib
import math
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.control import ControlFit, Sense, fit_control, onto_plan
from checks.engine.errors import EngineError
from core.units import MM_PER_UNIT, LengthUnit
from jobs.exchange.points.matching import Match, Of
from jobs.exchange.points.reading import UNITS, PointFile, PointUnit
from jobs.plan.geometry import (
    position_frame,
    rod_points,
    to_frame,
    wall_length,
    walls,
)
from jobs.plan.model import Plan, Position

MOST_OFF_SCALE = 0.002
"""A survey that would have to be stretched by more is in another unit, or its control
is misnamed. Ours: 2 in over 80 ft."""

MOST_RESIDUAL_MM = 100.0
"""A control point further from its place is misnamed, or no control. Ours."""

MOST_APART_MM = 20.0
"""Shots of one rod or corner, and heights of one pad or benchmark, that are further
apart are of two things. Ours."""

NAMES = {"ft": "feet", "survey_ft": "U.S. survey feet", "m": "metres", "mm": "mm"}
Control = Literal["corners", "rods", "both"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """What was surveyed, and how it is to be read.

    Attributes
    ----------
    file : the points, matched or not.
    unit : of the file.
    control : what the survey is brought onto the plan by.
    leave : names of points that are no control.
    shared : members that every reading carries.
    """

    file: PointFile
    matches: Sequence[Match]
    unit: PointUnit
    control: Control = "corners"
    leave: Collection[str] = ()
    shared: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ControlPoint:
    """A control point, and how far it is from its place. [mm]"""

    names: str
    target: str
    used: bool
    dx: float = math.nan
    dy: float = math.nan

    @property
    def off(self) -> float:
        """Distance from its place. [mm]"""
        return math.hypot(self.dx, self.dy)


@dataclass(frozen=True, slots=True, kw_only=True)
class Surveyed:
    """What a survey says.

    Attributes
    ----------
    fit : None where there is none.
    trouble : why nothing is read from it, empty where something is.
    entries : readings as the exchange document has them.
    """

    control: tuple[ControlPoint, ...]
    fit: ControlFit | None
    trouble: str
    entries: tuple[dict[str, Any], ...]


@dataclass(frozen=True, slots=True)
class _Place:
    """All points of one target taken together: their mean. [mm]"""

    match: Match
    names: tuple[str, ...]
    at: FloatArray  # (2,) easting and northing
    elevation: float | None
    apart: float  # of its shots: in plan, or in height where heights are read of it

    @property
    def told(self) -> str:
        word = "point" if len(self.names) == 1 else "points"
        return f"{word} {', '.join(self.names)}"


def read_survey(plan: Plan, survey: Survey) -> Surveyed:
    """Bring a survey onto the plan and read what the plan asks for.

    Parameters
    ----------
    plan : what is measured. [mm]
    survey : the points and how they are to be read. [mm]
    """
    places = _together(survey.matches)
    control = [each for each in places if each.match.of in _control_of(survey.control)]
    used = [each for each in control if not set(each.names) & set(survey.leave)]
    try:
        fit = fit_control(
            np.array([_planned(plan, each.match) for each in used]).reshape(-1, 2),
            np.array([each.at for each in used]).reshape(-1, 2),
        )
    except EngineError as error:
        rows = tuple(_row(each, each in used) for each in control)
        trouble = f"{error} {_how_named(plan, survey.control)}".strip()
        return Surveyed(control=rows, fit=None, trouble=trouble, entries=())
    rows = tuple(_residuals(plan, fit, control, used))
    trouble = _trouble(fit, [row for row in rows if row.used], survey) or _apart(places)
    entries = () if trouble else tuple(_Entries(plan, survey, places, fit, used).all())
    return Surveyed(control=rows, fit=fit, trouble=trouble, entries=entries)


def _control_of(control: Control) -> tuple[Of, ...]:
    return {
        "corners": (Of.CORNER,),
        "rods": (Of.ROD,),
        "both": (Of.CORNER, Of.ROD),
    }[control]


def _how_named(plan: Plan, control: Control) -> str:
    """Say by which words points are known as control."""
    names = [each.name for each in plan.outline[:4]] if control != "rods" else []
    if control != "corners":
        names += [f"{each.mark}.1" for each in plan.positions[:2]]
    return f"Control is known by its words: {', '.join(names)} …" if names else ""


def _together(matches: Sequence[Match]) -> list[_Place]:
    """Take points of one target together."""
    groups: dict[tuple[Of, str, int], list[Match]] = defaultdict(list)
    for match in matches:
        if match.of is not None:
            groups[match.of, match.name, match.rod].append(match)
    places = []
    for group in groups.values():
        points = [match.point for match in group]
        first = np.array([points[0].easting, points[0].northing])
        apart = np.array([(p.easting, p.northing) for p in points]) - first
        heights = [p.elevation for p in points if p.elevation is not None]
        level = group[0].of in (Of.PAD, Of.BENCHMARK)
        places.append(
            _Place(
                group[0],
                tuple(point.name for point in points),
                first + apart.mean(axis=0),
                sum(heights) / len(heights) if heights else None,
                float(
                    np.ptp(heights or [0.0]) if level else np.hypot(*np.ptp(apart, 0))
                ),
            )
        )
    return places


def _planned(plan: Plan, match: Match) -> tuple[float, float]:
    """Where a corner or rod is on the plan. [mm]"""
    if match.of is Of.CORNER:
        corner = next(each for each in plan.outline if each.name == match.name)
        return corner.x, corner.y
    place = next(each for each in plan.positions if each.mark == match.name)
    x, y = rod_points(plan, place)[match.rod - 1]
    return float(x), float(y)


def _row(place: _Place, used: bool, off: FloatArray | None = None) -> ControlPoint:
    dx, dy = (math.nan, math.nan) if off is None else map(float, off)
    return ControlPoint(", ".join(place.names), place.match.target, used, dx, dy)


def _residuals(
    plan: Plan, fit: ControlFit, control: Sequence[_Place], used: Sequence[_Place]
) -> Iterator[ControlPoint]:
    at = onto_plan(fit, np.array([each.at for each in control]))
    for place, point in zip(control, at, strict=True):
        off = point - np.array(_planned(plan, place.match))
        yield _row(place, place in used, off)


def _trouble(fit: ControlFit, used: Sequence[ControlPoint], survey: Survey) -> str:
    """Say why a fit cannot be relied on; empty where it can."""
    if fit.sense is Sense.MIRRORED:
        return (
            "The points fit the plan only in a mirror: northing and easting are most "
            "likely exchanged. Choose the other order of columns."
        )
    off_scale = abs(fit.scale - 1.0) > MOST_OFF_SCALE
    likely = _likely(fit.scale, survey) if off_scale else ""
    worst = max(used, key=lambda row: row.off)
    if worst.off > MOST_RESIDUAL_MM and not likely:
        return (
            f"{worst.target} (point {worst.names}) is {worst.off:.0f} mm from its "
            f"place, more than {MOST_RESIDUAL_MM:.0f} mm: it is another point, or no "
            "control. Leave it out, or mend its name."
        )
    if off_scale:
        return (
            f"The survey would have to be multiplied by {fit.scale:.5g} to fit the "
            f"plan, more than {MOST_OFF_SCALE:.1%} off: "
            f"{likely or 'look at which points are named as control'}."
        )
    return ""


def _apart(places: Sequence[_Place]) -> str:
    """Name what was shot more than once in more than one place; empty where nothing."""
    worst = max(places, key=lambda place: place.apart)
    if worst.apart <= MOST_APART_MM:
        return ""
    return (
        f"{worst.match.target} ({worst.told}) was shot {worst.apart:.0f} mm apart, "
        f"more than {MOST_APART_MM:.0f} mm: these are two things. Mend one name."
    )


def _likely(scale: float, survey: Survey) -> str:
    """Name the unit a scale speaks of; empty where it speaks of none."""
    wanted = float(UNITS[survey.unit]) * scale
    for unit, mm in UNITS.items():
        if unit != survey.unit and abs(wanted / float(mm) - 1.0) < MOST_OFF_SCALE:
            return f"its unit is most likely {NAMES[unit]}"
    return ""


class _Entries:
    """Readings in the making, in the file's unit and with its decimals."""

    def __init__(
        self,
        plan: Plan,
        survey: Survey,
        places: Sequence[_Place],
        fit: ControlFit,
        used: Sequence[_Place],
    ) -> None:
        self.plan, self.survey, self.fit = plan, survey, fit
        self.unit: LengthUnit = "ft" if survey.unit == "survey_ft" else survey.unit
        self.mm = float(MM_PER_UNIT[self.unit])
        self.of: dict[Of, list[_Place]] = defaultdict(list)
        for place in places:
            if place.match.of is not None:
                self.of[place.match.of].append(place)
        names = [each.match.target for each in used]
        more = f" and {len(names) - 4} more" if len(names) > 4 else ""
        self.fitted = f"plan axes fitted to {', '.join(names[:4])}{more}"

    def all(self) -> Iterator[dict[str, Any]]:
        """Read everything that was surveyed, in the order of the walk."""
        yield from self._distances()
        rods: dict[str, list[_Place]] = defaultdict(list)
        for place in self.of[Of.ROD]:
            rods[place.match.name].append(place)
        for position in self.plan.positions:
            if position.mark in rods:
                yield from self._position(position, rods[position.mark])
        yield from self._levels()

    def _entry(
        self, check: str, mm: float, of: Sequence[_Place], note: str, **more: Any
    ) -> dict[str, Any]:
        """Write a reading; its id tells of the points it rests on, not of the file.

        A total station writes all its points each time: what a later file has again
        is the same reading.
        """
        level = "setup" in more
        file = self.survey.file
        value = f"{mm / self.mm:.{file.level_decimals if level else file.decimals}f}"
        if not float(value):
            value = value.removeprefix("-")
        seen = [(p.names, *p.at.tolist(), p.elevation if level else None) for p in of]
        return {
            "id": f"survey-{_digest(check, seen, more.get('setup'))[:40]}",
            "check": check,
            "value": f"{value} {self.unit}",
            "note": note,
            **self.survey.shared,
            **more,
        }

    def _distances(self) -> Iterator[dict[str, Any]]:
        corners = {each.match.name: each for each in self.of[Of.CORNER]}
        kinds = (("diagonal", self.plan.diagonals), ("wall", walls(self.plan)))
        for kind, pairs in kinds:
            for first, second in pairs:
                if first in corners and second in corners:
                    a, b = corners[first], corners[second]
                    length = float(np.hypot(*(b.at - a.at)))
                    note = f"{a.told} to {b.told}"
                    yield self._entry(f"{kind}:{first}-{second}", length, (a, b), note)

    def _position(
        self, position: Position, rods: Sequence[_Place]
    ) -> Iterator[dict[str, Any]]:
        detail = self.plan.details[position.detail]
        frame = position_frame(self.plan, position)
        rods = sorted(rods, key=lambda each: each.match.rod)
        points = onto_plan(self.fit, np.array([each.at for each in rods]))
        built = to_frame(frame, points)
        planned = [detail.rods[each.match.rod - 1] for each in rods]
        moved = 0.0
        if position.wall is not None:
            moved = float(np.mean(built[:, 0] - [rod.along for rod in planned]))
            names = ", ".join(name for each in rods for name in each.names)
            note = f"mean of the rods, points {names}; {self.fitted}"
            line, corner = (position.along or 0.0) + moved, position.wall[0]
            if line < 0.0:  # past the corner: no tape reads less than nothing
                line = wall_length(self.plan, position.wall) - line
                corner = position.wall[1]
            yield self._entry(f"line:{position.mark}", line, rods, note) | {
                "from": corner
            }
        for place, (along, inward) in zip(rods, built, strict=True):
            key, note = (
                f"{position.mark}.{place.match.rod}",
                f"{place.told}; {self.fitted}",
            )
            yield self._entry(f"setback:{key}", float(inward), (place,), note)
            yield self._entry(f"offset:{key}", float(along) - moved, rods, note)

    def _levels(self) -> Iterator[dict[str, Any]]:
        """Turn elevations into grade-rod readings: larger where the pad is lower."""
        named = [
            *((f"level:{p.match.name}", p) for p in self.of[Of.PAD]),
            *((f"benchmark:{p.match.name}", p) for p in self.of[Of.BENCHMARK]),
        ]
        heights = [p.elevation for _, p in named if p.elevation is not None]
        if not heights:
            return
        step = 1000.0 if self.unit == "mm" else self.mm
        instrument = math.ceil(max(heights) / step + 1.0) * step
        # Heights of one file, and of a later one with the same benchmarks, go together.
        tied = [p for p in self.of[Of.BENCHMARK] if p.elevation is not None]
        seen = [(p.names, p.elevation) for p in tied or [p for _, p in named]]
        setup = f"survey {_digest(seen, instrument)[:8]}"
        for check, place in named:
            if place.elevation is None:
                continue
            note = (
                f"{place.told}; elevation taken from an invented height of instrument "
                f"of {instrument / self.mm:g} {self.unit}, set-up {setup}"
            )
            reading = instrument - place.elevation
            yield self._entry(check, reading, (place,), note, setup=setup)


def _digest(*seen: object) -> str:
    """Digest values, the same for the same points whenever they are sent."""
    return hashlib.sha256(repr(seen).encode()).hexdigest()
