"""Patterns of rods made into details: those that stand alike share one. [mm]"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from math import cos, hypot, radians, sin
from typing import Any

from core.units import LengthUnit
from jobs.exchange.dxf.groups import Group, Place
from jobs.exchange.reader import DocumentError, Refusal
from jobs.exchange.vocabulary import LONGEST_NAME, MOST_RODS, REFERENCES
from jobs.plan.model import Plan
from jobs.plan.spacing import exact_writer

ALIKE_MM = 0.1
"""Rods of two positions this near to one another in their own axes are alike. Ours."""

MOST_DETAILS = 200
"""Of a drawing. Ours."""

HAIR = Decimal("0.00001")
"""What arithmetic in doubles may leave on a figure. [mm]"""

Rods = Sequence[tuple[float, float, float]]


def writer(unit: LengthUnit) -> Callable[[float], str]:
    """Return what writes a length of a drawing: in feet and inches where it is one."""
    exact = exact_writer(unit)
    step = Decimal("0.396875" if unit in ("in", "ft") else "0.001")

    def write(mm: float) -> str:
        figure = Decimal(repr(mm + 0.0)).quantize(Decimal("0.000001"))
        near = (figure / step).to_integral_value() * step
        return exact(near if abs(near - figure) <= HAIR else figure)

    return write


@dataclass
class Details:
    """The details of a drawing as they are found, in the document's words.

    Attributes
    ----------
    write : writes a length.
    base, plan : the plan in force, as a document and as values; empty where none is.
    document, places : the details found, and where each stands.
    """

    write: Callable[[float], str]
    base: Mapping[str, Any] = field(default_factory=dict)
    plan: Plan | None = None
    document: dict[str, Any] = field(default_factory=dict)
    places: dict[str, str] = field(default_factory=dict)
    known: dict[str, Rods] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, detail in (self.plan.details if self.plan else {}).items():
            self.known[name] = [(r.along, r.inward, r.diameter) for r in detail.rods]

    def name_of(self, group: Group, place: Place) -> tuple[str, float]:
        """Find the detail whose rods stand as these do, or make one.

        Returns
        -------
        name : of the detail.
        turned : by how much it is turned against the position's axes. [deg]
        """
        pattern = group.pattern
        wanted = pattern.attribute("DETAIL") if pattern else ""
        loose = place.wall is None and pattern is None
        turns = (0.0, 90.0, 180.0, 270.0) if loose else (0.0,)
        for name in [wanted] if wanted else list(self.known):
            for turn in turns if name in self.known else ():
                if alike(turned(self.known[name], turn), place.rods):
                    self._take(name, group)
                    return name, turn
        if len(self.document) >= MOST_DETAILS:
            msg = (
                f"There are more than {MOST_DETAILS} different patterns of rods: are "
                "these circles rods? Choose their layer."
            )
            raise DocumentError([Refusal(group.place, msg)])
        name = self._free(wanted or (pattern.name if pattern else ""))
        self.known[name] = place.rods
        self.places[name] = group.place
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

    def _take(self, name: str, group: Group) -> None:
        """Take a detail of the plan in force as it is there."""
        if name not in self.document:
            self.document[name] = self.base["details"][name]
            self.places[name] = group.place

    def _free(self, wanted: str) -> str:
        wanted = wanted if len(wanted) <= LONGEST_NAME - 4 else ""
        number = 2 if wanted else 1
        name = wanted or "D1"
        while name in self.known or name in self.base.get("details", {}):
            name = f"{wanted}-{number}" if wanted else f"D{number}"
            number += 1
        return name


def turned(rods: Rods, by_deg: float) -> Rods:
    """Turn rods about their origin, counter-clockwise. [mm, deg]"""
    if by_deg == 0.0:
        return rods
    c, s = cos(radians(by_deg)), sin(radians(by_deg))
    return [(c * x - s * y, s * x + c * y, size) for x, y, size in rods]


def alike(rods: Rods, others: Rods) -> bool:
    """Whether every rod has one of the others where it stands, and as thick. [mm]"""
    if len(rods) != len(others) or len(rods) > MOST_RODS:
        return False
    left = list(others)
    for x, y, size in rods:
        near = [
            other
            for other in left
            if hypot(other[0] - x, other[1] - y) <= ALIKE_MM
            and abs(other[2] - size) <= ALIKE_MM
        ]
        if not near:
            return False
        left.remove(near[0])
    return True
