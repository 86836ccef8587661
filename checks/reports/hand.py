"""How a report writes lengths, strengths, times and people."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from checks.drawings.text import Units, Writer
from checks.reports.blocks import NOTHING
from core.units import PSI_PER_MPA

PLUS_MINUS = "\N{PLUS-MINUS SIGN}"


@dataclass(frozen=True, slots=True)
class Hand:
    """Writes in the units of the plan, whoever reads it."""

    units: Units

    @property
    def _writer(self) -> Writer:
        return Writer(self.units)

    def length(self, mm: float | None) -> str:
        """A dimension. [mm]"""
        return NOTHING if mm is None else self._writer.length(mm)

    def small(self, mm: float | None) -> str:
        """A dimension of a part, or an amount. [mm]"""
        return NOTHING if mm is None else self._writer.small(mm)

    def deviation(self, mm: float | None) -> str:
        """A deviation with its sign. [mm]"""
        return NOTHING if mm is None else self._writer.deviation(mm)

    def strength(self, mpa: float | None, *, signed: bool = False) -> str:
        """A strength in the plan's unit and the other. [MPa]"""
        if mpa is None:
            return NOTHING
        sign = "+" if signed and mpa > 0 else ""
        metric = f"{sign}{mpa:.1f} MPa".replace("-", "\N{MINUS SIGN}")
        customary = f"{sign}{mpa * PSI_PER_MPA:,.0f} psi".replace("-", "\N{MINUS SIGN}")
        return metric if self.units == "metric" else f"{customary} ({metric})"

    def limit(self, check: Mapping[str, Any]) -> str:
        """What a check may be off by: one figure, or one on either side."""
        lower, upper, limit = check.get("lower"), check.get("upper"), check.get("limit")
        if limit is not None:
            return self.small(limit)
        if lower is None and upper is None:
            return NOTHING
        return f"{self.deviation(lower)} to {self.deviation(upper)}"


def moment(at: datetime | str | None) -> str:
    """Write a time as 9 Mar 2026, 14:05 UTC, wherever the program runs."""
    if not at:
        return NOTHING
    when = datetime.fromisoformat(at) if isinstance(at, str) else at
    utc = when.astimezone(UTC)
    return f"{utc.day} {utc:%b %Y, %H:%M} UTC"


def who(person: Mapping[str, str]) -> str:
    """Name somebody as the record does: with the account, for there are namesakes."""
    name, account = person["name"], person["username"]
    return name if name == account else f"{name} ({account})"


def count(number: int, one: str, many: str = "") -> str:
    """Write a number of things: 1 finding, 2 findings."""
    return f"{number} {one if number == 1 else many or f'{one}s'}"
