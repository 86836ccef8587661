"""Tolerance bases and the limits they give.

A basis is a data file of `checks/bases`, a source and a mark beside every value. A
building names one and may override any of its values. Where a basis has no rule of
its own the default basis steps in, and the source says so. Limits are in mm.
"""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray
from jobs.plan.model import Tolerances

DEFAULT_BASIS = "metal-building-practice"
BASES = (
    DEFAULT_BASIS,
    "aisc-303-2010",
    "aisc-303-2016",
    "aci-117-2010",
    "en-1090-2-2008",
)
RULES = (
    "diagonals",
    "wall",
    "line",
    "rod_location",
    "re_anchor_beyond",
    "projection",
    "pad_level",
    "shim_up_to",
    "strength_ratio",
    "plumb",
    "notch",
    "level_misclosure",
)
GROUP_RULES = (
    "within_group",
    "adjacent_groups",
    "accumulated",
    "group_to_line",
    "group_centre",
    "rod_from_group_centre",
)
RATIOS = frozenset({"strength_ratio", "plumb"})
SLACK_MM = 1e-6
"""How far a value may be off a limit and still count as on it, in mm."""

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


class Limits:
    """The limits of one building: its basis, its overrides, the default behind.

    Lengths in mm; `value(key)` of a rate is its amount per `per`.
    """

    __slots__ = ("_rules", "basis", "guarded")

    def __init__(
        self, basis: Basis, rules: Mapping[str, Rule], *, guarded: bool = False
    ) -> None:
        self.basis = basis
        self.guarded = guarded
        self._rules = dict(rules)

    def keys(self) -> tuple[str, ...]:
        """Every rule in force, in a fixed order."""
        return tuple(self._rules)

    def __iter__(self) -> Iterator[Rule]:
        return iter(self._rules.values())

    def rule(self, key: str) -> Rule:
        """Give the rule of this key; KeyError where none is in force."""
        return self._rules[key]

    def find(self, key: str) -> Rule | None:
        """Give the rule of this key, or None: not every basis has group rules."""
        return self._rules.get(key)

    def value(self, key: str) -> float:
        return self._rules[key].amount.value

    def source(self, key: str) -> str:
        return self._rules[key].source

    def mark(self, key: str) -> str:
        return self._rules[key].mark

    def diagonal(self, nominal_mm: npt.ArrayLike) -> FloatArray:
        """Limit of each single diagonal by its nominal, any shape, in mm."""
        return self._rules["diagonals"].amount.at(nominal_mm)

    def diagonal_difference(self, nominals_mm: npt.ArrayLike) -> FloatArray:
        """Limit of the difference of two diagonals, nominals (..., 2) -> (...), in mm.

        By the mean of the two nominals.
        """
        mean = np.mean(np.asarray(nominals_mm, dtype=float), axis=-1)
        return self._rules["diagonals"].amount.at(mean)

    def wall(self, length_mm: npt.ArrayLike) -> FloatArray:
        """Limit of each wall's length by its nominal, any shape, in mm."""
        return self._rules["wall"].amount.at(length_mm)

    def line(self) -> float:
        """Limit of a reference line against the plan, in mm."""
        return self.value("line")

    def rod_location(self, diameter_mm: npt.ArrayLike) -> FloatArray:
        """Limit of setback, offset and gage by rod diameter, any shape, in mm."""
        return self._rules["rod_location"].amount.at(diameter_mm)

    def re_anchor_beyond(self) -> float:
        """Miss beyond which re-anchoring is proposed before slotting, in mm."""
        return self.value("re_anchor_beyond")

    def projection(self) -> tuple[float, float]:
        """Lower (negative) and upper limit of a projection's deviation, in mm."""
        amount = self._rules["projection"].amount
        if isinstance(amount, Span):
            return amount.lower, amount.upper
        return -amount.value, amount.value

    def pad_level(self) -> float:
        """How far below the highest pad a pad may lie, in mm."""
        return self.value("pad_level")

    def shim_up_to(self) -> float:
        """Shortfall beyond which shims are not proposed, in mm."""
        return self.value("shim_up_to")

    def strength_ratio(self) -> float:
        """Share of the specified strength that opens the gate."""
        return self.value("strength_ratio")

    def plumb(self) -> float:
        """Lean over height, a plain ratio."""
        return self.value("plumb")

    def notch(self) -> float:
        """Limit of the notch's width and depth, either way, in mm."""
        return self.value("notch")

    def level_misclosure(self) -> float:
        """Limit of the level misclosure, reported beside it, in mm."""
        return self.value("level_misclosure")

    def as_result(self) -> dict[str, Any]:
        """Write the `tolerances` object of the result document."""
        return {
            "basis": self.basis.name,
            **({"guarded": True} if self.guarded else {}),
            **{rule.key: rule.as_result() for rule in self},
        }


def limits_for(tolerances: Tolerances) -> Limits:
    """Put together the limits in force: override, else basis, else default basis.

    Parameters
    ----------
    tolerances : Tolerances
        Basis by name, overrides in mm (ratios plain), guarded or simple acceptance.

    Returns
    -------
    Limits

    Raises
    ------
    ToleranceError
        If the basis or an overridden key is not known, or a limit is not positive.
    """
    basis = load_basis(tolerances.basis)
    default = load_basis(DEFAULT_BASIS)
    known = (*RULES, *GROUP_RULES)
    for key in tolerances.overrides:
        if key not in known:
            raise ToleranceError(
                f"There is no tolerance called {key!r}; there are {', '.join(known)}."
            )
    rules = {}
    for key in known:
        if key in tolerances.overrides:
            rules[key] = _override(key, tolerances.overrides[key])
        elif key in basis.rules:
            rules[key] = _completed(basis.rules[key], default)
        elif key in basis.groups:
            rules[key] = basis.groups[key]
        elif key in RULES:
            rules[key] = _stand_in(default.rules[key], basis)
    return Limits(basis, rules, guarded=tolerances.guarded)


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


def _override(key: str, value: float) -> Rule:
    if not (np.isfinite(value) and value > 0):
        raise ToleranceError(f"The override of {key} must be more than zero: {value}.")
    return Rule(key=key, amount=Flat(float(value)), source="override", mark="override")


def _stand_in(rule: Rule, basis: Basis) -> Rule:
    """Take the default's rule, where the building's basis has none."""
    if basis.name == DEFAULT_BASIS:
        return rule
    source = f"{rule.source} ({DEFAULT_BASIS}; {basis.name} has no rule)"
    return replace(rule, source=source)


def _completed(rule: Rule, default: Basis) -> Rule:
    """Complete a rule by diameter with the default for diameters not listed."""
    if not isinstance(rule.amount, ByDiameter):
        return rule
    behind = default.rules[rule.key]
    return replace(
        rule,
        amount=replace(rule.amount, otherwise=behind.amount.value),
        source=f"{rule.source}; diameters it does not list: {behind.source}"
        f" ({DEFAULT_BASIS})",
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
