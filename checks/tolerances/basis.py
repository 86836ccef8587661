"""Tolerance bases: the rules of one data file, each with its source and provenance.

Lengths are converted to millimetres exactly, angles to radians; ratios stay plain
numbers.
"""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from functools import cache
from importlib import resources
from typing import Any, cast

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray
from checks.engine.conformity import SLACK_MM
from checks.engine.sources import Provenance
from core.units import MM_PER_UNIT
from jobs.exchange.result.document import LimitResult

DEFAULT_BASIS = "metal-building-practice"
BASIS_NAMES = (
    DEFAULT_BASIS,
    "aisc-303-2010",
    "aisc-303-2016",
    "aci-117-2010",
    "en-1090-2-2008",
)


class ToleranceError(ValueError):
    """An unknown basis or override; the message lists the known ones."""


@dataclass(frozen=True, slots=True)
class FlatLimit:
    """One limit for every size: a length [mm], a plain ratio or an angle [rad]."""

    value: float

    def at(self, size: npt.ArrayLike) -> FloatArray:
        return np.full(np.shape(size), self.value)

    def as_members(self) -> dict[str, object]:
        return {"value": self.value}


@dataclass(frozen=True, slots=True)
class ProportionalLimit:
    """A limit in proportion to a length, between `floor` and `cap`. [mm]"""

    value: float
    per: float
    floor: float = 0.0
    cap: float = np.inf

    def at(self, size: npt.ArrayLike) -> FloatArray:
        share = np.abs(np.asarray(size, dtype=float)) / self.per
        limit: FloatArray = np.clip(share * self.value, self.floor, self.cap)
        return limit

    def as_members(self) -> dict[str, object]:
        members: dict[str, object] = {"value": self.value, "per": self.per}
        if self.floor > 0:
            members["floor"] = self.floor
        if self.cap < np.inf:
            members["cap"] = self.cap
        return members


@dataclass(frozen=True, slots=True)
class AsymmetricLimit:
    """Different limits below and above; `value` is the smaller in size. [mm]"""

    lower: float
    upper: float

    @property
    def value(self) -> float:
        return min(-self.lower, self.upper)

    def at(self, size: npt.ArrayLike) -> FloatArray:
        return np.full(np.shape(size), self.value)

    def as_members(self) -> dict[str, object]:
        return {"value": self.value, "lower": self.lower, "upper": self.upper}


@dataclass(frozen=True, slots=True)
class DiameterLimit:
    """A limit by rod diameter, from each listed diameter to the next. [mm]

    `otherwise` applies below the first diameter and above `listed_up_to`.
    """

    diameters: tuple[float, ...]
    limits: tuple[float, ...]
    listed_up_to: float
    otherwise: float = np.nan

    @property
    def value(self) -> float:
        return min(self.limits)

    def at(self, size: npt.ArrayLike) -> FloatArray:
        diameter = np.asarray(size, dtype=float)
        # A diameter typed in inches and one typed in mm must find the same row.
        row = np.searchsorted(self.diameters, diameter + SLACK_MM, side="right") - 1
        listed = (row >= 0) & (diameter <= self.listed_up_to + SLACK_MM)
        picked = np.asarray(self.limits)[np.maximum(row, 0)]
        return np.where(listed, picked, self.otherwise)

    def as_members(self) -> dict[str, object]:
        return {
            "value": self.value,
            "by_diameter": [
                {"from": diameter, "limit": limit}
                for diameter, limit in zip(self.diameters, self.limits, strict=True)
            ],
            "listed_up_to": self.listed_up_to,
            "otherwise": self.otherwise,
        }


class RodDatum(StrEnum):
    """Place from which a rod's location is judged."""

    LINE = "line"  # its reference line as built, each axis by itself
    SPECIFIED = "specified"  # where the plan puts it, the line's deviation included


class RodMeasure(StrEnum):
    """Measure of a rod's location that is compared with its limit."""

    AXIS = "axis"  # along and in, each by itself
    DISTANCE = "distance"  # in any direction: never looser than each axis


LimitValue = FlatLimit | ProportionalLimit | AsymmetricLimit | DiameterLimit


@dataclass(frozen=True, slots=True, kw_only=True)
class ToleranceRule:
    """One limit with its source and provenance."""

    key: str
    amount: LimitValue
    source: str
    provenance: Provenance
    note: str = ""
    confidence: str = ""
    location: RodDatum | None = None  # of `rod_location` alone
    measured_as: RodMeasure | None = None

    def as_result(self) -> LimitResult:
        """Return an entry of the result document's `tolerances`."""
        members = {
            **self.amount.as_members(),
            "source": self.source,
            "mark": self.provenance.value,
        }
        if self.location == RodDatum.SPECIFIED and self.measured_as:
            members["location"] = self.location.value
            members["measured_as"] = self.measured_as.value
        # Which members there are depends on the kind of limit.
        return cast("LimitResult", members)


@dataclass(frozen=True, slots=True, kw_only=True)
class UnusedValue:
    """A published or remembered value that carries no limit, with the reason."""

    item: str
    value: str
    source: str
    provenance: Provenance
    reason: str
    confidence: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToleranceBasis:
    """The content of one tolerance basis file."""

    name: str
    title: str
    edition: str
    notes: tuple[str, ...]
    rules: Mapping[str, ToleranceRule]
    groups: Mapping[str, ToleranceRule]
    not_used: tuple[UnusedValue, ...] = ()


@cache
def load_basis(name: str) -> ToleranceBasis:
    """Read a basis from its data file, once per process.

    Raises
    ------
    ToleranceError
        If there is no basis of this name.
    """
    if name not in BASIS_NAMES:
        raise ToleranceError(
            f"Unknown tolerance basis {name!r}. Choose one of: "
            f"{', '.join(BASIS_NAMES)}."
        )
    path = resources.files("checks.tolerances").joinpath(f"{name}.toml")
    # Decimals as written: 0.125 in is exact in mm, its nearest float is not.
    data = tomllib.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
    return ToleranceBasis(
        name=data["name"],
        title=data["title"],
        edition=data["edition"],
        notes=tuple(data["notes"]),
        rules={key: _parse_rule(key, entry) for key, entry in data["rules"].items()},
        groups={
            key: _parse_rule(key, entry)
            for key, entry in data.get("groups", {}).items()
        },
        not_used=tuple(
            UnusedValue(**{**entry, "provenance": Provenance(entry["provenance"])})
            for entry in data.get("not_used", [])
        ),
    )


def _parse_rule(key: str, entry: Mapping[str, Any]) -> ToleranceRule:
    return ToleranceRule(
        key=key,
        amount=_parse_limit(entry),
        source=entry["source"],
        provenance=Provenance(entry["provenance"]),
        note=entry.get("note", ""),
        confidence=entry.get("confidence", ""),
        location=RodDatum(entry["location"]) if "location" in entry else None,
        measured_as=(
            RodMeasure(entry["measured_as"]) if "measured_as" in entry else None
        ),
    )


def _parse_limit(entry: Mapping[str, Any]) -> LimitValue:
    # The members that a rule has say which kind of limit it is.
    if "ratio" in entry:
        return FlatLimit(float(entry["ratio"]))
    if "angle" in entry:
        return FlatLimit(math.radians(entry["angle"]["deg"]))
    if "by_diameter" in entry:
        bands = entry["by_diameter"]
        return DiameterLimit(
            diameters=tuple(_parse_length(band["from"]) for band in bands),
            limits=tuple(_parse_length(band["limit"]) for band in bands),
            listed_up_to=_parse_length(entry["listed_up_to"]),
        )
    if "lower" in entry:
        return AsymmetricLimit(
            _parse_length(entry["lower"]), _parse_length(entry["upper"])
        )
    if "per" in entry:
        return ProportionalLimit(
            _parse_length(entry["limit"]),
            _parse_length(entry["per"]),
            floor=_parse_length(entry["floor"]) if "floor" in entry else 0.0,
            cap=_parse_length(entry["cap"]) if "cap" in entry else np.inf,
        )
    return FlatLimit(_parse_length(entry["limit"]))


def _parse_length(length: Mapping[str, Decimal | int]) -> float:
    """Convert a one-entry table such as { in = 0.125 }. [mm]"""
    ((unit, number),) = length.items()
    return float(Fraction(number) * MM_PER_UNIT[unit])
