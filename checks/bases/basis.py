"""A tolerance basis as its data file has it: rules, with sources and marks.

Lengths are converted to mm exactly; limits below are in mm, ratios plain.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
import numpy.typing as npt

from checks.engine.acceptance import SLACK_MM
from checks.engine.arrays import FloatArray

DEFAULT_BASIS = "metal-building-practice"
BASES = (
    DEFAULT_BASIS,
    "aisc-303-2010",
    "aisc-303-2016",
    "aci-117-2010",
    "en-1090-2-2008",
)

_MM = {
    "mm": Decimal(1),
    "m": Decimal(1000),
    "in": Decimal("25.4"),
    "ft": Decimal("304.8"),
}


class ToleranceError(ValueError):
    """A basis or an override that does not exist; the message says which do."""


@dataclass(frozen=True, slots=True)
class Flat:
    """One limit whatever the size: a length [mm] or a plain ratio."""

    value: float

    def at(self, size: npt.ArrayLike) -> FloatArray:
        return np.full(np.shape(size), self.value)

    def as_result(self) -> dict[str, Any]:
        return {"value": self.value}


@dataclass(frozen=True, slots=True)
class Rate:
    """A limit in proportion to a length, not below `floor`, not above `cap`, in mm."""

    value: float
    per: float
    floor: float = 0.0
    cap: float = np.inf

    def at(self, size: npt.ArrayLike) -> FloatArray:
        share = np.abs(np.asarray(size, dtype=float)) / self.per
        limit: FloatArray = np.clip(share * self.value, self.floor, self.cap)
        return limit

    def as_result(self) -> dict[str, Any]:
        result = {"value": self.value, "per": self.per}
        if self.floor > 0:
            result["floor"] = self.floor
        if self.cap < np.inf:
            result["cap"] = self.cap
        return result


@dataclass(frozen=True, slots=True)
class Span:
    """Different limits below and above; `value` is the smaller in size, in mm."""

    lower: float
    upper: float

    @property
    def value(self) -> float:
        return min(-self.lower, self.upper)

    def at(self, size: npt.ArrayLike) -> FloatArray:
        return np.full(np.shape(size), self.value)

    def as_result(self) -> dict[str, Any]:
        return {"value": self.value, "lower": self.lower, "upper": self.upper}


@dataclass(frozen=True, slots=True)
class ByDiameter:
    """A limit by rod diameter, from each listed diameter to the next, in mm.

    `otherwise` holds for diameters below the first and above `listed_up_to`.
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
        row = np.searchsorted(self.diameters, diameter + SLACK_MM, side="right") - 1
        listed = (row >= 0) & (diameter <= self.listed_up_to + SLACK_MM)
        picked = np.asarray(self.limits)[np.maximum(row, 0)]
        return np.where(listed, picked, self.otherwise)

    def as_result(self) -> dict[str, Any]:
        return {
            "value": self.value,
            "by_diameter": [
                {"from": diameter, "limit": limit}
                for diameter, limit in zip(self.diameters, self.limits, strict=True)
            ],
            "listed_up_to": self.listed_up_to,
            "otherwise": self.otherwise,
        }


Amount = Flat | Rate | Span | ByDiameter


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One limit with where it comes from.

    `mark` says how the source is known: "published", "published, seen
    second-hand", "from memory", "common practice", "ours" or "override".
    """

    key: str
    amount: Amount
    source: str
    mark: str
    note: str = ""
    confidence: str = ""

    def as_result(self) -> dict[str, Any]:
        return {**self.amount.as_result(), "source": self.source, "mark": self.mark}


@dataclass(frozen=True, slots=True, kw_only=True)
class NotUsed:
    """A published or remembered value that carries no limit here, and why."""

    item: str
    value: str
    source: str
    mark: str
    why: str
    confidence: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """A tolerance basis as its data file has it."""

    name: str
    title: str
    edition: str
    notes: tuple[str, ...]
    rules: Mapping[str, Rule]
    groups: Mapping[str, Rule]
    not_used: tuple[NotUsed, ...] = ()


@cache
def load_basis(name: str) -> Basis:
    """Read a basis from its data file, once.

    Raises
    ------
    ToleranceError
        If there is no basis of this name.
    """
    if name not in BASES:
        raise ToleranceError(
            f"There is no tolerance basis called {name!r}; there are "
            f"{', '.join(BASES)}."
        )
    path = resources.files("checks.bases").joinpath(f"{name}.toml")
    data = tomllib.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
    return Basis(
        name=data["name"],
        title=data["title"],
        edition=data["edition"],
        notes=tuple(data["notes"]),
        rules={key: _rule(key, entry) for key, entry in data["rules"].items()},
        groups={
            key: _rule(key, entry) for key, entry in data.get("groups", {}).items()
        },
        not_used=tuple(NotUsed(**entry) for entry in data.get("not_used", [])),
    )


def _rule(key: str, entry: Mapping[str, Any]) -> Rule:
    return Rule(
        key=key,
        amount=_amount(entry),
        source=entry["source"],
        mark=entry["mark"],
        note=entry.get("note", ""),
        confidence=entry.get("confidence", ""),
    )


def _amount(entry: Mapping[str, Any]) -> Amount:
    if "ratio" in entry:
        return Flat(float(entry["ratio"]))
    if "by_diameter" in entry:
        bands = entry["by_diameter"]
        return ByDiameter(
            diameters=tuple(_mm(band["from"]) for band in bands),
            limits=tuple(_mm(band["limit"]) for band in bands),
            listed_up_to=_mm(entry["listed_up_to"]),
        )
    if "lower" in entry:
        return Span(_mm(entry["lower"]), _mm(entry["upper"]))
    if "per" in entry:
        return Rate(
            _mm(entry["limit"]),
            _mm(entry["per"]),
            floor=_mm(entry["floor"]) if "floor" in entry else 0.0,
            cap=_mm(entry["cap"]) if "cap" in entry else np.inf,
        )
    return Flat(_mm(entry["limit"]))


def _mm(length: Mapping[str, Decimal | int]) -> float:
    """Millimetres of a one-entry table such as { in = 0.125 }."""
    ((unit, number),) = length.items()
    return float(number * _MM[unit])
