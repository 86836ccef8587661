"""Survey entries: the points of a survey written as readings of the plan's checks.

A position's reference line is where its rods are moved to on average, and each rod's
offset is from there. An elevation becomes a grade-rod reading from an invented height
of instrument.
"""

import hashlib
import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.survey_control import ControlFit, transform_to_plan
from core.units import MM_PER_UNIT, LengthUnit
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.geometry import (
    list_walls,
    position_axes,
    to_local_axes,
    wall_length,
)
from jobs.anchor_plan.values import Plan, Position
from jobs.exchange.points.point_file import PointFile, PointUnit
from jobs.exchange.points.point_matching import PointMatch, PointTarget

MAX_LISTED_CONTROL = 4
"""Control points that a note names; the rest is counted."""

ReadingEntry = dict[str, Any]
"""A reading as the exchange document has it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyTarget:
    """The points of one target, averaged. [mm]

    Attributes
    ----------
    at : (2,) easting and northing.
    spread : of its points, in plan; in height for a pad or benchmark.
    """

    match: PointMatch
    names: tuple[str, ...]
    at: FloatArray
    elevation: float | None
    spread: float

    @property
    def point_label(self) -> str:
        word = "point" if len(self.names) == 1 else "points"
        return f"{word} {', '.join(self.names)}"


class EntryWriter:
    """Writes readings in the unit of the point file, with its decimals."""

    def __init__(
        self,
        *,
        plan: Plan,
        file: PointFile,
        unit: PointUnit,
        shared: Mapping[str, Any],
        targets: Sequence[SurveyTarget],
        fit: ControlFit,
        control: Sequence[str],
    ) -> None:
        self.plan, self.file, self.shared, self.fit = plan, file, shared, fit
        # The exchange document has no survey foot: it differs by 2 parts in a million.
        self.unit: LengthUnit = "ft" if unit == "survey_ft" else unit
        self.mm = float(MM_PER_UNIT[self.unit])
        self.targets: dict[PointTarget, list[SurveyTarget]] = defaultdict(list)
        for target in targets:
            if target.match.target is not None:
                self.targets[target.match.target].append(target)
        listed = ", ".join(control[:MAX_LISTED_CONTROL])
        rest = len(control) - MAX_LISTED_CONTROL
        more = f" and {rest} more" if rest > 0 else ""
        self.fit_note = f"plan axes fitted to {listed}{more}"

    def write_all(self) -> Iterator[ReadingEntry]:
        """Write every reading, in the order of the walk."""
        yield from self._write_distances()
        rods: dict[str, list[SurveyTarget]] = defaultdict(list)
        for target in self.targets[PointTarget.ROD]:
            rods[target.match.name].append(target)
        for position in self.plan.positions:
            if position.mark in rods:
                yield from self._write_position(position, rods[position.mark])
        yield from self._write_levels()

    def _write_entry(
        self,
        check: str,
        mm: float,
        targets: Sequence[SurveyTarget],
        note: str,
        **members: str,
    ) -> ReadingEntry:
        """Write a reading; its id follows from its points, not from the file.

        A total station writes all its points each time: a point that a later file
        repeats must give the same reading.
        """
        level = "setup" in members
        decimals = self.file.level_decimals if level else self.file.decimals
        value = f"{mm / self.mm:.{decimals}f}"
        # Rounded to zero, a negative offset would read as -0.0000.
        if not float(value):
            value = value.removeprefix("-")
        points = [
            (each.names, *each.at.tolist(), each.elevation if level else None)
            for each in targets
        ]
        return {
            "id": f"survey-{_hash_values(check, points, members.get('setup'))[:40]}",
            "check": check,
            "value": f"{value} {self.unit}",
            "note": note,
            **self.shared,
            **members,
        }

    def _write_distances(self) -> Iterator[ReadingEntry]:
        corners = {each.match.name: each for each in self.targets[PointTarget.CORNER]}
        for kind, pairs in (
            (CheckKind.DIAGONAL, self.plan.diagonals),
            (CheckKind.WALL, list_walls(self.plan)),
        ):
            for ends in pairs:
                if ends[0] in corners and ends[1] in corners:
                    first, second = corners[ends[0]], corners[ends[1]]
                    length = float(np.hypot(*(second.at - first.at)))
                    note = f"{first.point_label} to {second.point_label}"
                    key = CheckKey.for_corners(kind, ends)
                    yield self._write_entry(key, length, (first, second), note)

    def _write_position(
        self, position: Position, rods: Sequence[SurveyTarget]
    ) -> Iterator[ReadingEntry]:
        detail = self.plan.details[position.detail]
        # By number, so that the same points give the same ids in any file.
        rods = sorted(rods, key=lambda each: each.match.rod)
        points = transform_to_plan(self.fit, np.array([each.at for each in rods]))
        built = to_local_axes(position_axes(self.plan, position), points)
        planned = [detail.rods[each.match.rod - 1] for each in rods]
        shift = 0.0
        if position.wall is not None:
            shift = float(np.mean(built[:, 0] - [rod.along for rod in planned]))
            names = ", ".join(name for each in rods for name in each.names)
            note = f"mean of the rods, points {names}; {self.fit_note}"
            line, corner = (position.along or 0.0) + shift, position.wall[0]
            if line < 0.0:  # past the corner, where no tape reads
                line = wall_length(self.plan, position.wall) - line
                corner = position.wall[1]
            key = CheckKey.for_position(CheckKind.LINE, position.mark)
            yield self._write_entry(key, line, rods, note) | {"from": corner}
        for rod, (along, inward) in zip(rods, built, strict=True):
            note = f"{rod.point_label}; {self.fit_note}"
            for kind, mm, targets in (
                (CheckKind.SETBACK, float(inward), (rod,)),
                (CheckKind.OFFSET, float(along) - shift, rods),
            ):
                key = CheckKey.for_rod(kind, position.mark, rod.match.rod)
                yield self._write_entry(key, mm, targets, note)

    def _write_levels(self) -> Iterator[ReadingEntry]:
        """Write elevations as grade-rod readings: larger where the pad is lower."""
        pads, benchmarks = (
            self.targets[kind] for kind in (PointTarget.PAD, PointTarget.BENCHMARK)
        )
        keyed: list[tuple[CheckKey, SurveyTarget]] = [
            (CheckKey.for_position(CheckKind.LEVEL, pad.match.name), pad)
            for pad in pads
        ]
        keyed += [
            (CheckKey.for_name(CheckKind.BENCHMARK, each.match.name), each)
            for each in benchmarks
        ]
        heights = [each.elevation for _, each in keyed if each.elevation is not None]
        if not heights:
            return
        step = 1000.0 if self.unit == "mm" else self.mm
        instrument = math.ceil(max(heights) / step + 1.0) * step
        # Files with the same benchmarks share a set-up: their heights are comparable.
        ties = [each for each in benchmarks if each.elevation is not None]
        tied = [
            (each.names, each.elevation)
            for each in ties or [target for _, target in keyed]
        ]
        setup = f"survey {_hash_values(tied, instrument)[:8]}"
        for key, target in keyed:
            if target.elevation is None:
                continue
            note = (
                f"{target.point_label}; elevation taken from an invented height of "
                f"instrument of {instrument / self.mm:g} {self.unit}, set-up {setup}"
            )
            reading = instrument - target.elevation
            yield self._write_entry(key, reading, (target,), note, setup=setup)


def _hash_values(*values: object) -> str:
    """Hash values, the same for the same points whenever they are sent."""
    return hashlib.sha256(repr(values).encode()).hexdigest()
