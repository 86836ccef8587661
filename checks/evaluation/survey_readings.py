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
from checks.engine.errors import EngineError
from checks.engine.survey_control import (
    AxisSense,
    ControlFit,
    fit_control,
    transform_to_plan,
)
from core.units import MM_PER_UNIT, LengthUnit
from jobs.anchor_plan.geometry import (
    list_walls,
    position_axes,
    rod_points,
    to_local_axes,
    wall_length,
)
from jobs.anchor_plan.values import Plan, Position
from jobs.exchange.points.point_file import MM_PER_POINT_UNIT, PointFile, PointUnit
from jobs.exchange.points.point_matching import PointMatch, PointTarget

MAX_SCALE_ERROR = 0.002
"""A survey that would have to be stretched by more is in another unit, or its control
is misnamed. Ours: 2 in over 80 ft."""

MAX_CONTROL_RESIDUAL_MM = 100.0
"""A control point further from its place is misnamed, or no control. Ours."""

MAX_TARGET_SPREAD_MM = 20.0
"""Shots of one rod or corner, and heights of one pad or benchmark, that are further
apart are of two things. Ours."""

UNIT_NAMES = {"ft": "feet", "survey_ft": "U.S. survey feet", "m": "metres", "mm": "mm"}
ControlChoice = Literal["corners", "rods", "both"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyInput:
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
    matches: Sequence[PointMatch]
    unit: PointUnit
    control: ControlChoice = "corners"
    excluded_points: Collection[str] = ()
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
    def residual(self) -> float:
        """Distance from its place. [mm]"""
        return math.hypot(self.dx, self.dy)


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyReduction:
    """What a survey says.

    Attributes
    ----------
    fit : None where there is none.
    trouble : why nothing is read from it, empty where something is.
    entries : readings as the exchange document has them.
    """

    control: tuple[ControlPoint, ...]
    fit: ControlFit | None
    problem: str
    entries: tuple[dict[str, Any], ...]


@dataclass(frozen=True, slots=True)
class _SurveyTarget:
    """All points of one target taken together: their mean. [mm]"""

    match: PointMatch
    names: tuple[str, ...]
    at: FloatArray  # (2,) easting and northing
    elevation: float | None
    spread: float  # of its shots: in plan, or in height where heights are read of it

    @property
    def point_label(self) -> str:
        word = "point" if len(self.names) == 1 else "points"
        return f"{word} {', '.join(self.names)}"


def reduce_survey(plan: Plan, survey: SurveyInput) -> SurveyReduction:
    """Bring a survey onto the plan and read what the plan asks for.

    Parameters
    ----------
    plan : what is measured. [mm]
    survey : the points and how they are to be read. [mm]
    """
    places = _group_by_target(survey.matches)
    control = [
        each for each in places if each.match.target in _control_kinds(survey.control)
    ]
    used = [
        each for each in control if not set(each.names) & set(survey.excluded_points)
    ]
    try:
        fit = fit_control(
            np.array([_planned_point(plan, each.match) for each in used]).reshape(
                -1, 2
            ),
            np.array([each.at for each in used]).reshape(-1, 2),
        )
    except EngineError as error:
        rows = tuple(_control_point(each, each in used) for each in control)
        trouble = f"{error} {_control_name_hint(plan, survey.control)}".strip()
        return SurveyReduction(control=rows, fit=None, problem=trouble, entries=())
    rows = tuple(_control_residuals(plan, fit, control, used))
    trouble = _fit_problem(
        fit, [row for row in rows if row.used], survey
    ) or _spread_problem(places)
    entries = (
        ()
        if trouble
        else tuple(_EntryWriter(plan, survey, places, fit, used).write_all())
    )
    return SurveyReduction(control=rows, fit=fit, problem=trouble, entries=entries)


def _control_kinds(control: ControlChoice) -> tuple[PointTarget, ...]:
    return {
        "corners": (PointTarget.CORNER,),
        "rods": (PointTarget.ROD,),
        "both": (PointTarget.CORNER, PointTarget.ROD),
    }[control]


def _control_name_hint(plan: Plan, control: ControlChoice) -> str:
    """Say by which words points are known as control."""
    names = [each.name for each in plan.outline[:4]] if control != "rods" else []
    if control != "corners":
        names += [f"{each.mark}.1" for each in plan.positions[:2]]
    return f"Control is known by its words: {', '.join(names)} …" if names else ""


def _group_by_target(matches: Sequence[PointMatch]) -> list[_SurveyTarget]:
    """Take points of one target together."""
    groups: dict[tuple[PointTarget, str, int], list[PointMatch]] = defaultdict(list)
    for match in matches:
        if match.target is not None:
            groups[match.target, match.name, match.rod].append(match)
    places = []
    for group in groups.values():
        points = [match.point for match in group]
        first = np.array([points[0].easting, points[0].northing])
        apart = np.array([(p.easting, p.northing) for p in points]) - first
        heights = [p.elevation for p in points if p.elevation is not None]
        level = group[0].target in (PointTarget.PAD, PointTarget.BENCHMARK)
        places.append(
            _SurveyTarget(
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


def _planned_point(plan: Plan, match: PointMatch) -> tuple[float, float]:
    """Where a corner or rod is on the plan. [mm]"""
    if match.target is PointTarget.CORNER:
        corner = next(each for each in plan.outline if each.name == match.name)
        return corner.x, corner.y
    place = next(each for each in plan.positions if each.mark == match.name)
    x, y = rod_points(plan, place)[match.rod - 1]
    return float(x), float(y)


def _control_point(
    place: _SurveyTarget, used: bool, off: FloatArray | None = None
) -> ControlPoint:
    dx, dy = (math.nan, math.nan) if off is None else map(float, off)
    return ControlPoint(", ".join(place.names), place.match.label, used, dx, dy)


def _control_residuals(
    plan: Plan,
    fit: ControlFit,
    control: Sequence[_SurveyTarget],
    used: Sequence[_SurveyTarget],
) -> Iterator[ControlPoint]:
    at = transform_to_plan(fit, np.array([each.at for each in control]))
    for place, point in zip(control, at, strict=True):
        off = point - np.array(_planned_point(plan, place.match))
        yield _control_point(place, place in used, off)


def _fit_problem(
    fit: ControlFit, used: Sequence[ControlPoint], survey: SurveyInput
) -> str:
    """Say why a fit cannot be relied on; empty where it can."""
    if fit.sense is AxisSense.MIRRORED:
        return (
            "The points fit the plan only in a mirror: northing and easting are most "
            "likely exchanged. Choose the other order of columns."
        )
    off_scale = abs(fit.scale - 1.0) > MAX_SCALE_ERROR
    likely = _likely_unit(fit.scale, survey) if off_scale else ""
    worst = max(used, key=lambda row: row.residual)
    if worst.residual > MAX_CONTROL_RESIDUAL_MM and not likely:
        return (
            f"{worst.target} (point {worst.names}) is {worst.residual:.0f} mm from its "
            f"place, more than {MAX_CONTROL_RESIDUAL_MM:.0f} mm: it is another point, or no "
            "control. Leave it out, or mend its name."
        )
    if off_scale:
        return (
            f"The survey would have to be multiplied by {fit.scale:.5g} to fit the "
            f"plan, more than {MAX_SCALE_ERROR:.1%} off: "
            f"{likely or 'look at which points are named as control'}."
        )
    return ""


def _spread_problem(places: Sequence[_SurveyTarget]) -> str:
    """Name what was shot more than once in more than one place; empty where nothing."""
    worst = max(places, key=lambda place: place.spread)
    if worst.spread <= MAX_TARGET_SPREAD_MM:
        return ""
    return (
        f"{worst.match.label} ({worst.point_label}) was shot {worst.spread:.0f} mm apart, "
        f"more than {MAX_TARGET_SPREAD_MM:.0f} mm: these are two things. Mend one name."
    )


def _likely_unit(scale: float, survey: SurveyInput) -> str:
    """Name the unit a scale speaks of; empty where it speaks of none."""
    wanted = float(MM_PER_POINT_UNIT[survey.unit]) * scale
    for unit, mm in MM_PER_POINT_UNIT.items():
        if unit != survey.unit and abs(wanted / float(mm) - 1.0) < MAX_SCALE_ERROR:
            return f"its unit is most likely {UNIT_NAMES[unit]}"
    return ""


class _EntryWriter:
    """Readings in the making, in the file's unit and with its decimals."""

    def __init__(
        self,
        plan: Plan,
        survey: SurveyInput,
        places: Sequence[_SurveyTarget],
        fit: ControlFit,
        used: Sequence[_SurveyTarget],
    ) -> None:
        self.plan, self.survey, self.fit = plan, survey, fit
        self.unit: LengthUnit = "ft" if survey.unit == "survey_ft" else survey.unit
        self.mm = float(MM_PER_UNIT[self.unit])
        self.targets: dict[PointTarget, list[_SurveyTarget]] = defaultdict(list)
        for place in places:
            if place.match.target is not None:
                self.targets[place.match.target].append(place)
        names = [each.match.label for each in used]
        more = f" and {len(names) - 4} more" if len(names) > 4 else ""
        self.fit_note = f"plan axes fitted to {', '.join(names[:4])}{more}"

    def write_all(self) -> Iterator[dict[str, Any]]:
        """Read everything that was surveyed, in the order of the walk."""
        yield from self._write_distances()
        rods: dict[str, list[_SurveyTarget]] = defaultdict(list)
        for place in self.targets[PointTarget.ROD]:
            rods[place.match.name].append(place)
        for position in self.plan.positions:
            if position.mark in rods:
                yield from self._write_position(position, rods[position.mark])
        yield from self._write_levels()

    def _write_entry(
        self, check: str, mm: float, of: Sequence[_SurveyTarget], note: str, **more: Any
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
            "id": f"survey-{_hash_values(check, seen, more.get('setup'))[:40]}",
            "check": check,
            "value": f"{value} {self.unit}",
            "note": note,
            **self.survey.shared,
            **more,
        }

    def _write_distances(self) -> Iterator[dict[str, Any]]:
        corners = {each.match.name: each for each in self.targets[PointTarget.CORNER]}
        kinds = (("diagonal", self.plan.diagonals), ("wall", list_walls(self.plan)))
        for kind, pairs in kinds:
            for first, second in pairs:
                if first in corners and second in corners:
                    a, b = corners[first], corners[second]
                    length = float(np.hypot(*(b.at - a.at)))
                    note = f"{a.point_label} to {b.point_label}"
                    yield self._write_entry(
                        f"{kind}:{first}-{second}", length, (a, b), note
                    )

    def _write_position(
        self, position: Position, rods: Sequence[_SurveyTarget]
    ) -> Iterator[dict[str, Any]]:
        detail = self.plan.details[position.detail]
        frame = position_axes(self.plan, position)
        rods = sorted(rods, key=lambda each: each.match.rod)
        points = transform_to_plan(self.fit, np.array([each.at for each in rods]))
        built = to_local_axes(frame, points)
        planned = [detail.rods[each.match.rod - 1] for each in rods]
        moved = 0.0
        if position.wall is not None:
            moved = float(np.mean(built[:, 0] - [rod.along for rod in planned]))
            names = ", ".join(name for each in rods for name in each.names)
            note = f"mean of the rods, points {names}; {self.fit_note}"
            line, corner = (position.along or 0.0) + moved, position.wall[0]
            if line < 0.0:  # past the corner: no tape reads less than nothing
                line = wall_length(self.plan, position.wall) - line
                corner = position.wall[1]
            yield self._write_entry(f"line:{position.mark}", line, rods, note) | {
                "from": corner
            }
        for place, (along, inward) in zip(rods, built, strict=True):
            key, note = (
                f"{position.mark}.{place.match.rod}",
                f"{place.point_label}; {self.fit_note}",
            )
            yield self._write_entry(f"setback:{key}", float(inward), (place,), note)
            yield self._write_entry(f"offset:{key}", float(along) - moved, rods, note)

    def _write_levels(self) -> Iterator[dict[str, Any]]:
        """Turn elevations into grade-rod readings: larger where the pad is lower."""
        named = [
            *((f"level:{p.match.name}", p) for p in self.targets[PointTarget.PAD]),
            *(
                (f"benchmark:{p.match.name}", p)
                for p in self.targets[PointTarget.BENCHMARK]
            ),
        ]
        heights = [p.elevation for _, p in named if p.elevation is not None]
        if not heights:
            return
        step = 1000.0 if self.unit == "mm" else self.mm
        instrument = math.ceil(max(heights) / step + 1.0) * step
        # Heights of one file, and of a later one with the same benchmarks, go together.
        tied = [
            p for p in self.targets[PointTarget.BENCHMARK] if p.elevation is not None
        ]
        seen = [(p.names, p.elevation) for p in tied or [p for _, p in named]]
        setup = f"survey {_hash_values(seen, instrument)[:8]}"
        for check, place in named:
            if place.elevation is None:
                continue
            note = (
                f"{place.point_label}; elevation taken from an invented height of instrument "
                f"of {instrument / self.mm:g} {self.unit}, set-up {setup}"
            )
            reading = instrument - place.elevation
            yield self._write_entry(check, reading, (place,), note, setup=setup)


def _hash_values(*seen: object) -> str:
    """Digest values, the same for the same points whenever they are sent."""
    return hashlib.sha256(repr(seen).encode()).hexdigest()
