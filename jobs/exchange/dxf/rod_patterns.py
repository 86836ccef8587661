"""Rod patterns as details: positions with equal patterns share one. [mm]"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from math import cos, hypot, radians, sin
from typing import Any

from core.units import LengthUnit
from jobs.anchor_plan.spacing import exact_length_writer
from jobs.anchor_plan.values import Plan
from jobs.exchange.dxf.rod_groups import PositionPlacement, RodGroup
from jobs.exchange.issues import file_error
from jobs.exchange.vocabulary import MAX_NAME_LENGTH, MAX_RODS_PER_DETAIL, REFERENCES

SAME_PATTERN_TOLERANCE_MM = 0.1
"""Rods this near to each other in two patterns are the same. Project choice."""

MAX_DETAILS = 200
"""Most details of a drawing. Project choice."""

ROUNDING_TOLERANCE_MM = Decimal("0.00001")
"""Rounding error of a computed length, removed before it is written. [mm]"""

RodPattern = Sequence[tuple[float, float, float]]


def drawing_length_writer(unit: LengthUnit) -> Callable[[float], str]:
    """Return a function that writes lengths exactly, if possible in feet and inches."""
    exact = exact_length_writer(unit)
    step = Decimal("0.396875" if unit in ("in", "ft") else "0.001")

    def write(mm: float) -> str:
        figure = Decimal(repr(mm + 0.0)).quantize(Decimal("0.000001"))
        near = (figure / step).to_integral_value() * step
        return exact(near if abs(near - figure) <= ROUNDING_TOLERANCE_MM else figure)

    return write


@dataclass
class DetailCatalogue:
    """The details of a drawing, collected position by position.

    Attributes
    ----------
    write : writes a length.
    base, plan : the current plan, as document and as values; empty and None without
        one.
    document, source_locations : the details, and where each is drawn.
    """

    write: Callable[[float], str]
    base: Mapping[str, Any] = field(default_factory=dict)
    plan: Plan | None = None
    document: dict[str, Any] = field(default_factory=dict)
    source_locations: dict[str, str] = field(default_factory=dict)
    patterns: dict[str, RodPattern] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, detail in (self.plan.details if self.plan else {}).items():
            self.patterns[name] = [(r.along, r.inward, r.diameter) for r in detail.rods]

    def find_or_add(
        self, group: RodGroup, place: PositionPlacement
    ) -> tuple[str, float]:
        """Find the detail with the same rod pattern, or add one.

        Returns
        -------
        name : of the detail.
        rotation_deg : of the detail against the position's axes. [deg]
        """
        pattern = group.insert
        wanted = pattern.attribute("DETAIL") if pattern else ""
        loose = place.wall is None and pattern is None
        turns = (0.0, 90.0, 180.0, 270.0) if loose else (0.0,)
        for name in [wanted] if wanted else list(self.patterns):
            for turn in turns if name in self.patterns else ():
                if is_same_pattern(rotate_rods(self.patterns[name], turn), place.rods):
                    self._take_from_base(name, group)
                    return name, turn
        if len(self.document) >= MAX_DETAILS:
            msg = (
                f"There are more than {MAX_DETAILS} different rod patterns: check that "
                "these circles are rods, and choose their layer."
            )
            raise file_error(msg, group.location)
        name = self._choose_name(wanted or (pattern.name if pattern else ""))
        self.patterns[name] = place.rods
        self.source_locations[name] = group.location
        reference = pattern.attribute("REFERENCE") if pattern else ""
        self.document[name] = {
            "reference": reference if reference in REFERENCES else REFERENCES[0],
            "rods": [
                {
                    "in": self.write(inward),
                    "along": self.write(along),
                    "diameter": self.write(size),
                }
                for along, inward, size in place.rods
            ],
        }
        return name, 0.0

    def _take_from_base(self, name: str, group: RodGroup) -> None:
        """Copy a detail of the current plan."""
        if name not in self.document:
            self.document[name] = self.base["details"][name]
            self.source_locations[name] = group.location

    def _choose_name(self, wanted: str) -> str:
        wanted = wanted if len(wanted) <= MAX_NAME_LENGTH - 4 else ""
        number = 2 if wanted else 1
        name = wanted or "D1"
        while name in self.patterns or name in self.base.get("details", {}):
            name = f"{wanted}-{number}" if wanted else f"D{number}"
            number += 1
        return name


def rotate_rods(rods: RodPattern, by_deg: float) -> RodPattern:
    """Rotate rods about their origin, counter-clockwise. [mm, deg]"""
    if by_deg == 0.0:
        return rods
    c, s = cos(radians(by_deg)), sin(radians(by_deg))
    return [(c * x - s * y, s * x + c * y, size) for x, y, size in rods]


def is_same_pattern(rods: RodPattern, others: RodPattern) -> bool:
    """Return True if two patterns have the same rods, in any order. [mm]"""
    if len(rods) != len(others) or len(rods) > MAX_RODS_PER_DETAIL:
        return False
    left = list(others)
    for x, y, size in rods:
        near = [
            other
            for other in left
            if hypot(other[0] - x, other[1] - y) <= SAME_PATTERN_TOLERANCE_MM
            and abs(other[2] - size) <= SAME_PATTERN_TOLERANCE_MM
        ]
        if not near:
            return False
        left.remove(near[0])
    return True
