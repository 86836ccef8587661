"""Strength of the concrete for a page: the gate, delivery tests and the forecast."""

from dataclasses import dataclass
from datetime import date

from checks.models import Evaluation
from checks.queries.remedy_steps import Step, StepPart, build_step
from core.vocabulary import Verdict
from jobs.exchange.result.concrete import AcceptanceResult, StrengthForecastResult
from jobs.models import Building

HOURS_PER_DAY = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class DeliveryTests:
    """Standard-cured tests: acceptance of the concrete as delivered, not the gate.

    Attributes
    ----------
    lowest_allowed : float
        By a single test. [MPa]
    failures : tuple of Step
        Tests and averages that are too low, each with its strength.
    """

    accepted: bool
    tests: int
    lowest_allowed: float | None
    failures: tuple[Step, ...]
    note: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthForecast:
    """Forecast of the gate; with dates only where the day of placing is known."""

    required: float | None  # MPa
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
    """The strength gate, with delivery tests and forecast beside it.

    Attributes
    ----------
    reason : str
        Why the gate has no verdict, or a doubtful one.
    """

    verdict: Verdict
    strength: float | None  # MPa
    required: float | None  # MPa
    reason: str
    delivery_tests: DeliveryTests | None
    forecast: StrengthForecast | None


def get_strength_status(building: Building) -> StrengthStatus | None:
    """Load the strength of the latest evaluation; None where it has the gate alone."""
    rows = Evaluation.objects.filter(building=building).order_by("-pk")
    latest = rows.only("result").first()
    concrete = latest.complete_result["concrete"] if latest else None
    if not concrete:
        return None
    acceptance, forecast = concrete.get("acceptance"), concrete.get("forecast")
    if not acceptance and not forecast:
        return None
    return StrengthStatus(
        verdict=Verdict(concrete["verdict"]),
        strength=concrete.get("strength"),
        required=concrete.get("required"),
        reason=concrete.get("reason") or "",
        delivery_tests=_build_delivery_tests(acceptance) if acceptance else None,
        forecast=_build_forecast(forecast) if forecast else None,
    )


def _build_delivery_tests(acceptance: AcceptanceResult) -> DeliveryTests:
    tests = (
        build_step(f"test {row['test']}: ", _strength_part(row["strength"]))
        for row in acceptance["tests"]
        if row["low"]
    )
    averages = (
        build_step(
            f"average of tests {row['tests'][0]} to {row['tests'][-1]}: ",
            _strength_part(row["strength"]),
        )
        for row in acceptance["averages"]
        if row["low"]
    )
    return DeliveryTests(
        accepted=acceptance["accepted"],
        tests=len(acceptance["tests"]),
        lowest_allowed=acceptance["lowest_allowed"],
        failures=(*tests, *averages),
        note=acceptance["note"],
        source=acceptance["source"],
    )


def _build_forecast(forecast: StrengthForecastResult) -> StrengthForecast:
    days = forecast["opens_on"]
    unit = "°C h" if forecast.get("method") == "nurse_saul" else "h"
    reached, needed = (
        "?" if maturity is None else f"{maturity:,.0f}"
        for maturity in (forecast["maturity_now"], forecast["maturity_needed"])
    )
    return StrengthForecast(
        required=forecast.get("required"),
        likely=_parse_date(days["likely"] if days else None),
        earliest=_parse_date(days["earliest"] if days else None),
        latest=_parse_date(days["latest"] if days else None),
        likely_wait=_format_wait(forecast["likely_hours"]),
        wait_range=_format_wait_range(
            forecast["earliest_hours"], forecast["latest_hours"]
        ),
        maturity=f"{reached} of {needed} {unit}",
        remarks=tuple(forecast.get("remarks", ())),
        note=forecast["note"],
        sources="; ".join(forecast["sources"]),
    )


def _format_wait_range(earliest: float | None, latest: float | None) -> str:
    """Write the range of the wait; empty where neither end is known."""
    if earliest is None and latest is None:
        return ""
    ends = (
        "an unknown time" if hours is None else _format_wait(hours)
        for hours in (earliest, latest)
    )
    return " to ".join(ends)


def _format_wait(hours: float | None) -> str:
    """Write a wait: in hours up to two days, then in days; empty if never reached."""
    if hours is None:
        return ""
    if hours <= 2 * HOURS_PER_DAY:
        return f"{hours:.0f} h"
    return f"{hours / HOURS_PER_DAY:,.0f} days"


def _strength_part(mpa: float | None) -> StepPart:
    return StepPart(value=mpa, unit="MPa")


def _parse_date(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None
