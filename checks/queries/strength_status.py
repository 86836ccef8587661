"""What is known of a building's concrete, for a page: the gate, and what it is not."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from checks.models import Evaluation
from core.formatting import format_strength
from jobs.models import Building

HOURS_PER_DAY = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class DeliveryTests:
    """Standard-cured tests, judged: acceptance of the concrete, not the gate.

    Attributes
    ----------
    low : what is too low, each with its figure.
    """

    accepted: bool
    tests: int
    lowest_allowed: str
    failures: tuple[str, ...]
    note: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthForecast:
    """The forecast of the gate; dates only where the day of placing is known."""

    required: str
    likely: date | None
    earliest: date | None
    latest: date | None
    likely_wait: str
    wait_range: str
    maturity: str
    remarks: tuple[str, ...]
    note: str
    sources: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthStatus:
    """The strength gate, with the two judgements that stand beside it.

    `reason` says why the gate is not judged, or to be looked at again.
    """

    verdict: str
    strength: str
    required: str
    reason: str
    delivery_tests: DeliveryTests | None
    forecast: StrengthForecast | None


def get_strength_status(building: Building) -> StrengthStatus | None:
    """Read the latest evaluation; None where it says no more than the gate."""
    rows = Evaluation.objects.filter(building=building).order_by("-pk")
    said: Mapping[str, Any] = (
        rows.values_list("result__concrete", flat=True).first() or {}
    )
    acceptance, forecast = said.get("acceptance"), said.get("forecast")
    if not acceptance and not forecast:
        return None
    return StrengthStatus(
        verdict=said["verdict"],
        strength=_format_strength(said.get("strength")),
        required=_format_strength(said.get("required")),
        reason=said.get("reason") or "",
        delivery_tests=_build_delivery_tests(acceptance) if acceptance else None,
        forecast=_build_forecast(forecast) if forecast else None,
    )


def _build_delivery_tests(acceptance: Mapping[str, Any]) -> DeliveryTests:
    tests = (
        f"test {row['test']}: {_format_strength(row['strength'])}"
        for row in acceptance["tests"]
        if row["low"]
    )
    averages = (
        f"average of tests {row['tests'][0]} to {row['tests'][-1]}:"
        f" {_format_strength(row['strength'])}"
        for row in acceptance["averages"]
        if row["low"]
    )
    return DeliveryTests(
        accepted=acceptance["accepted"],
        tests=len(acceptance["tests"]),
        lowest_allowed=_format_strength(acceptance["lowest_allowed"]),
        failures=(*tests, *averages),
        note=acceptance["note"],
        source=acceptance["source"],
    )


def _build_forecast(forecast: Mapping[str, Any]) -> StrengthForecast:
    days = forecast["opens_on"] or {}
    unit = "°C h" if forecast["method"] == "nurse_saul" else "h"
    needed = forecast["maturity_needed"]
    return StrengthForecast(
        required=_format_strength(forecast["required"]),
        likely=_parse_date(days.get("likely")),
        earliest=_parse_date(days.get("earliest")),
        latest=_parse_date(days.get("latest")),
        likely_wait=_format_wait(forecast["likely_hours"]),
        wait_range=_format_wait_range(
            forecast["earliest_hours"], forecast["latest_hours"]
        ),
        maturity=f"{forecast['maturity_now']:,.0f} of"
        f" {'?' if needed is None else f'{needed:,.0f}'} {unit}",
        remarks=tuple(forecast["remarks"]),
        note=forecast["note"],
        sources=_join(forecast["sources"]),
    )


def _format_wait_range(earliest: float | None, latest: float | None) -> str:
    """The range of the wait; empty where neither end of it is known."""
    if earliest is None and latest is None:
        return ""
    ends = (
        "an unknown time" if hours is None else _format_wait(hours)
        for hours in (earliest, latest)
    )
    return " to ".join(ends)


def _format_wait(hours: float | None) -> str:
    """How long to wait: hours up to two days, then days; empty where not reached."""
    if hours is None:
        return ""
    if hours <= 2 * HOURS_PER_DAY:
        return f"{hours:.0f} h"
    return f"{hours / HOURS_PER_DAY:,.0f} days"


def _format_strength(mpa: float | None) -> str:
    """A strength in either unit; empty where there is none. [MPa]"""
    return "" if mpa is None else format_strength(mpa)


def _parse_date(written: str | None) -> date | None:
    return date.fromisoformat(written) if written else None


def _join(texts: Iterable[str]) -> str:
    return "; ".join(texts)
