"""How a report writes lengths, strengths, times and people."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from checks.drawings.text import LengthFormatter, Units
from checks.reports.blocks import EM_DASH
from core.units import PSI_PER_MPA

PLUS_MINUS = "\N{PLUS-MINUS SIGN}"


@dataclass(frozen=True, slots=True)
class ReportFormatter:
    """Writes in the units of the plan, whoever reads it."""

    units: Units

    @property
    def _lengths(self) -> LengthFormatter:
        return LengthFormatter(self.units)

    def format_length(self, mm: float | None) -> str:
        """A dimension. [mm]"""
        return EM_DASH if mm is None else self._lengths.format_length(mm)

    def format_fine(self, mm: float | None) -> str:
        """A dimension of a part, or an amount. [mm]"""
        return EM_DASH if mm is None else self._lengths.format_fine(mm)

    def format_deviation(self, mm: float | None) -> str:
        """A deviation with its sign. [mm]"""
        return EM_DASH if mm is None else self._lengths.format_deviation(mm)

    def format_strength(self, mpa: float | None, *, signed: bool = False) -> str:
        """A strength in the plan's unit and the other. [MPa]"""
        if mpa is None:
            return EM_DASH
        sign = "+" if signed and mpa > 0 else ""
        metric = f"{sign}{mpa:.1f} MPa".replace("-", "\N{MINUS SIGN}")
        customary = f"{sign}{mpa * PSI_PER_MPA:,.0f} psi".replace("-", "\N{MINUS SIGN}")
        return metric if self.units == "metric" else f"{customary} ({metric})"

    def format_limit(self, check: Mapping[str, Any]) -> str:
        """What a check may be off by: one figure, or one on either side."""
        lower, upper, limit = check.get("lower"), check.get("upper"), check.get("limit")
        if limit is not None:
            return self.format_fine(limit)
        if lower is None and upper is None:
            return EM_DASH
        return f"{self.format_deviation(lower)} to {self.format_deviation(upper)}"


def format_time(at: datetime | str | None) -> str:
    """Write a time as 9 Mar 2026, 14:05 UTC, wherever the program runs."""
    if not at:
        return EM_DASH
    when = datetime.fromisoformat(at) if isinstance(at, str) else at
    utc = when.astimezone(UTC)
    return f"{utc.day} {utc:%b %Y, %H:%M} UTC"


def format_person(person: Mapping[str, str]) -> str:
    """Name somebody as the record does: with the account, for there are namesakes."""
    name, account = person["name"], person["username"]
    return name if name == account else f"{name} ({account})"


def format_count(number: int, one: str, many: str = "") -> str:
    """Write a number of things: 1 finding, 2 findings."""
    return f"{number} {one if number == 1 else many or f'{one}s'}"
