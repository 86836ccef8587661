"""The limits in force for a building, from its tolerance basis and its overrides.

A basis is a data file of `checks/bases`, a source and a mark beside every value. A
building names one and may override any of its values. Where a basis has no rule of
its own the default basis steps in, and the source says so. Limits are in mm.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from checks.bases.basis import (
    BASIS_NAMES,
    DEFAULT_BASIS,
    AsymmetricLimit,
    DiameterLimit,
    FlatLimit,
    ProportionalLimit,
    ToleranceBasis,
    ToleranceError,
    ToleranceRule,
    UnusedValue,
    load_basis,
)
from checks.engine.arrays import FloatArray
from checks.engine.group_tolerances import GroupRules
from jobs.anchor_plan.values import ToleranceSpec

__all__ = [
    "BASIS_NAMES",
    "DEFAULT_BASIS",
    "GROUP_RULE_KEYS",
    "RULE_KEYS",
    "ToleranceBasis",
    "ToleranceError",
    "ToleranceLimits",
    "ToleranceRule",
    "UnusedValue",
    "load_basis",
    "resolve_limits",
]

RULE_KEYS = (
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
GROUP_RULE_KEYS = (
    "within_group",
    "adjacent_groups",
    "accumulated",
    "group_to_line",
    "group_centre",
    "rod_from_group_centre",
)
WALL_FLOOR_KEY = "wall_floor"
"""Overrides the least limit of a wall alone, and leaves its rate."""

ZERO_ALLOWED_KEYS = frozenset({WALL_FLOOR_KEY, "re_anchor_beyond", "shim_up_to"})


class ToleranceLimits:
    """The limits of one building: its basis, its overrides, the default behind.

    Lengths in mm; `value(key)` of a rate is its amount per `per`.
    """

    __slots__ = ("_rules", "basis", "guarded")

    def __init__(
        self,
        basis: ToleranceBasis,
        rules: Mapping[str, ToleranceRule],
        *,
        guarded: bool = False,
    ) -> None:
        self.basis = basis
        self.guarded = guarded
        self._rules = dict(rules)

    def keys(self) -> tuple[str, ...]:
        """Every rule in force, in a fixed order."""
        return tuple(self._rules)

    def __iter__(self) -> Iterator[ToleranceRule]:
        return iter(self._rules.values())

    def rule(self, key: str) -> ToleranceRule:
        """Give the rule of this key; KeyError where none is in force."""
        return self._rules[key]

    def find_rule(self, key: str) -> ToleranceRule | None:
        """Give the rule of this key, or None: not every basis has group rules."""
        return self._rules.get(key)

    def value(self, key: str) -> float:
        return self._rules[key].amount.value

    def source(self, key: str) -> str:
        return self._rules[key].source

    def provenance(self, key: str) -> str:
        return self._rules[key].provenance

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
        if isinstance(amount, AsymmetricLimit):
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

    def line_rules(self) -> GroupRules:
        """Give the basis' rules on groups and column lines to the engine."""
        given = {key: self.find_rule(key) for key in GROUP_RULE_KEYS}
        limits = {f"{key}_mm": rule.amount.value for key, rule in given.items() if rule}
        along = given["accumulated"]
        if along and isinstance(along.amount, ProportionalLimit):
            limits["accumulated_per_mm"] = along.amount.per
            limits["accumulated_cap_mm"] = along.amount.cap
        return GroupRules(**limits)

    def as_result(self) -> dict[str, Any]:
        """Write the `tolerances` object of the result document."""
        return {
            "basis": self.basis.name,
            **({"guarded": True} if self.guarded else {}),
            **{rule.key: rule.as_result() for rule in self},
        }


def resolve_limits(tolerances: ToleranceSpec) -> ToleranceLimits:
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
    known = (*RULE_KEYS, *GROUP_RULE_KEYS)
    for key, value in tolerances.overrides.items():
        _validate_override(key, value)
    rules = {}
    for key in known:
        if key in tolerances.overrides:
            rules[key] = _override_rule(key, tolerances.overrides[key])
        elif key in basis.rules:
            rules[key] = _complete_diameters(basis.rules[key], default)
        elif key in basis.groups:
            rules[key] = basis.groups[key]
        elif key in RULE_KEYS:
            rules[key] = _substitute_default(default.rules[key], basis)
    if WALL_FLOOR_KEY in tolerances.overrides:
        rules["wall"] = _replace_floor(
            rules["wall"], tolerances.overrides[WALL_FLOOR_KEY]
        )
    return ToleranceLimits(basis, rules, guarded=tolerances.guarded)


def _validate_override(key: str, value: float) -> None:
    known = (*RULE_KEYS, *GROUP_RULE_KEYS, WALL_FLOOR_KEY)
    if key not in known:
        raise ToleranceError(
            f"There is no tolerance called {key!r}; there are {', '.join(known)}."
        )
    if not (
        np.isfinite(value) and (value > 0 or (value == 0 and key in ZERO_ALLOWED_KEYS))
    ):
        raise ToleranceError(f"The override of {key} must be more than zero: {value}.")


def _override_rule(key: str, value: float) -> ToleranceRule:
    return ToleranceRule(
        key=key,
        amount=FlatLimit(float(value)),
        source="override",
        provenance="override",
    )


def _replace_floor(wall: ToleranceRule, floor: float) -> ToleranceRule:
    """Give the wall's rate another floor; a flat limit has none to change."""
    if not isinstance(wall.amount, ProportionalLimit):
        return wall
    amount = replace(wall.amount, floor=float(floor))
    return replace(wall, amount=amount, source=f"{wall.source}; its floor: override")


def _substitute_default(rule: ToleranceRule, basis: ToleranceBasis) -> ToleranceRule:
    """Take the default's rule, where the building's basis has none."""
    if basis.name == DEFAULT_BASIS:
        return rule
    source = f"{rule.source} ({DEFAULT_BASIS}; {basis.name} has no rule)"
    return replace(rule, source=source)


def _complete_diameters(rule: ToleranceRule, default: ToleranceBasis) -> ToleranceRule:
    """Complete a rule by diameter with the default for diameters not listed."""
    if not isinstance(rule.amount, DiameterLimit):
        return rule
    behind = default.rules[rule.key]
    return replace(
        rule,
        amount=replace(rule.amount, otherwise=behind.amount.value),
        source=f"{rule.source}; diameters it does not list: {behind.source}"
        f" ({DEFAULT_BASIS})",
    )
