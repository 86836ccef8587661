"""The limits in force for a building: overrides, else its basis, else the default.

A building names a basis (a TOML file of this package) and may override any of its
values. Where the basis has no rule of its own, the rule of the default basis applies
and its source says so. Limits are in mm, `column_turn` in rad.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import cast

import numpy as np
import numpy.typing as npt

from checks.engine.arrays import FloatArray
from checks.engine.group_tolerances import GroupRules
from checks.engine.sources import Provenance
from checks.tolerances.basis import (
    DEFAULT_BASIS,
    AsymmetricLimit,
    DiameterLimit,
    FlatLimit,
    ProportionalLimit,
    RodDatum,
    ToleranceBasis,
    ToleranceError,
    ToleranceRule,
    load_basis,
)
from jobs.anchor_plan.values import ToleranceSpec
from jobs.exchange.result.document import TolerancesResult

RULE_KEYS = (
    "diagonals",
    "wall",
    "line",
    "bay",
    "span",
    "rod_location",
    "column_turn",
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
"""Override of the smallest limit of a wall; the rate per length stays."""

ZERO_ALLOWED_KEYS = frozenset({WALL_FLOOR_KEY, "re_anchor_beyond", "shim_up_to"})


class ToleranceLimits:
    """The limits of one building. Lengths in mm, angles in rad.

    `value(key)` of a proportional limit is its amount for each `per`.
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

    def __iter__(self) -> Iterator[ToleranceRule]:
        """Iterate over the rules in force, in a fixed order."""
        return iter(self._rules.values())

    def find_rule(self, key: str) -> ToleranceRule | None:
        """Return the rule of a key; None for a group rule that the basis lacks."""
        return self._rules.get(key)

    def value(self, key: str) -> float:
        return self._rules[key].amount.value

    def source(self, key: str) -> str:
        return self._rules[key].source

    def diagonal(self, nominal_mm: npt.ArrayLike) -> FloatArray:
        """Return the limit of each single diagonal by its nominal, any shape. [mm]"""
        return self._rules["diagonals"].amount.at(nominal_mm)

    def diagonal_difference(self, nominals_mm: npt.ArrayLike) -> FloatArray:
        """Return the limit of the difference of two diagonals, (..., 2) -> (...). [mm]

        The limit goes by the mean of the two nominals.
        """
        mean = np.mean(np.asarray(nominals_mm, dtype=float), axis=-1)
        return self._rules["diagonals"].amount.at(mean)

    def wall(self, length_mm: npt.ArrayLike) -> FloatArray:
        """Return the limit of each wall's length by its nominal, any shape. [mm]"""
        return self._rules["wall"].amount.at(length_mm)

    def line(self) -> float:
        """Return the limit of a reference line against the plan. [mm]"""
        return self.value("line")

    def bay(self) -> float:
        """Return the limit of the length between neighbours along a wall. [mm]"""
        return self.value("bay")

    def span(self) -> float:
        """Return the limit of the length across a frame. [mm]"""
        return self.value("span")

    def rod_location(self, diameter_mm: npt.ArrayLike) -> FloatArray:
        """Return the limit of setback, offset and gage by rod diameter. [mm]"""
        return self._rules["rod_location"].amount.at(diameter_mm)

    @property
    def rods_from_plan(self) -> bool:
        """Return True where a rod is judged by its distance from where the plan has it.

        Else each axis by itself, from the reference line as built.
        """
        return self._rules["rod_location"].location == RodDatum.SPECIFIED

    def column_turn(self) -> float:
        """Return how far a plate may turn from the plan, either way. [rad]"""
        return self.value("column_turn")

    def re_anchor_beyond(self) -> float:
        """Miss beyond which re-anchoring is proposed before slotting, in mm."""
        return self.value("re_anchor_beyond")

    def projection(self) -> tuple[float, float]:
        """Return lower (negative) and upper limit of a projection's deviation. [mm]"""
        amount = self._rules["projection"].amount
        if isinstance(amount, AsymmetricLimit):
            return amount.lower, amount.upper
        return -amount.value, amount.value

    def pad_level(self) -> float:
        """Return how far below the highest pad a pad may lie. [mm]"""
        return self.value("pad_level")

    def shim_up_to(self) -> float:
        """Return the shortfall above which no shims are proposed. [mm]"""
        return self.value("shim_up_to")

    def strength_ratio(self) -> float:
        """Return the share of the specified strength that opens the gate."""
        return self.value("strength_ratio")

    def plumb(self) -> float:
        """Return the limit of out-of-plumb over height, a plain ratio."""
        return self.value("plumb")

    def notch(self) -> float:
        """Return the limit of the notch's width and depth, either way. [mm]"""
        return self.value("notch")

    def level_misclosure(self) -> float:
        """Return the limit of the level misclosure. [mm]"""
        return self.value("level_misclosure")

    def group_rules(self) -> GroupRules:
        """Return the rules on rod groups and column lines as the engine takes them."""
        rules = {key: self.find_rule(key) for key in GROUP_RULE_KEYS}
        limits = {f"{key}_mm": rule.amount.value for key, rule in rules.items() if rule}
        accumulated = rules["accumulated"]
        if accumulated and isinstance(accumulated.amount, ProportionalLimit):
            limits["accumulated_per_mm"] = accumulated.amount.per
            limits["accumulated_floor_mm"] = accumulated.amount.floor
            limits["accumulated_cap_mm"] = accumulated.amount.cap
        return GroupRules(**limits)

    def as_result(self) -> TolerancesResult:
        """Return the `tolerances` object of the result document."""
        members = {
            "basis": self.basis.name,
            **({"guarded": True} if self.guarded else {}),
            **{rule.key: rule.as_result() for rule in self},
        }
        # Which rules there are depends on the basis.
        return cast("TolerancesResult", members)


def resolve_limits(tolerances: ToleranceSpec) -> ToleranceLimits:
    """Resolve the limits in force: override, else basis, else default basis.

    Parameters
    ----------
    tolerances : ToleranceSpec
        Basis by name, overrides in mm (ratios plain, angles in rad), guarded or simple
        acceptance.

    Raises
    ------
    ToleranceError
        If the basis or an overridden key is unknown, or a limit is not positive.
    """
    basis = load_basis(tolerances.basis)
    default = load_basis(DEFAULT_BASIS)
    known = (*RULE_KEYS, *GROUP_RULE_KEYS)
    for key, value in tolerances.overrides.items():
        _validate_override(key, value)
    rules = {}
    for key in known:
        if key in tolerances.overrides:
            rules[key] = _override_rule(
                key, tolerances.overrides[key], basis.rules.get(key)
            )
        elif key in basis.rules:
            rules[key] = _complete_diameters(basis.rules[key], default)
        elif key in basis.groups:
            rules[key] = basis.groups[key]
        # Group rules have no default: most bases have none, and none is invented.
        elif key in RULE_KEYS:
            rules[key] = _substitute_default(default.rules[key], basis)
    # Last, as it changes a rule that the loop has already chosen.
    if WALL_FLOOR_KEY in tolerances.overrides:
        rules["wall"] = _replace_floor(
            rules["wall"], tolerances.overrides[WALL_FLOOR_KEY]
        )
    return ToleranceLimits(basis, rules, guarded=tolerances.guarded)


def _validate_override(key: str, value: float) -> None:
    known = (*RULE_KEYS, *GROUP_RULE_KEYS, WALL_FLOOR_KEY)
    if key not in known:
        raise ToleranceError(
            f"Unknown tolerance {key!r}. Choose one of: {', '.join(known)}."
        )
    if not (
        np.isfinite(value) and (value > 0 or (value == 0 and key in ZERO_ALLOWED_KEYS))
    ):
        raise ToleranceError(
            f"The override of {key} is {value}. It must be more than zero."
        )


def _override_rule(
    key: str, value: float, replaced: ToleranceRule | None
) -> ToleranceRule:
    """Return a rule of another amount; what is measured stays that of the basis."""
    return ToleranceRule(
        key=key,
        amount=FlatLimit(float(value)),
        source="override",
        provenance=Provenance.OVERRIDE,
        location=replaced.location if replaced else None,
        measured_as=replaced.measured_as if replaced else None,
    )


def _replace_floor(wall: ToleranceRule, floor: float) -> ToleranceRule:
    """Replace the floor of the wall's rate; a flat limit has none."""
    if not isinstance(wall.amount, ProportionalLimit):
        return wall
    amount = replace(wall.amount, floor=float(floor))
    return replace(wall, amount=amount, source=f"{wall.source}; its floor: override")


def _substitute_default(rule: ToleranceRule, basis: ToleranceBasis) -> ToleranceRule:
    """Return the default rule, its source naming the basis that lacks one."""
    if basis.name == DEFAULT_BASIS:
        return rule
    source = f"{rule.source} ({DEFAULT_BASIS}; {basis.name} has no rule)"
    return replace(rule, source=source)


def _complete_diameters(rule: ToleranceRule, default: ToleranceBasis) -> ToleranceRule:
    """Complete a rule by diameter with the default for unlisted diameters."""
    if not isinstance(rule.amount, DiameterLimit):
        return rule
    fallback = default.rules[rule.key]
    return replace(
        rule,
        amount=replace(rule.amount, otherwise=fallback.amount.value),
        source=f"{rule.source}; diameters it does not list: {fallback.source}"
        f" ({DEFAULT_BASIS})",
    )
