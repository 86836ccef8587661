"""What is known of a building's concrete, for a page: the gate, and what it is not."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from checks.models import Evaluation
from checks.wording import strength_words
from jobs.models import Building

HOURS_IN_DAY = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivered:
    """Standard-cured tests, judged: acceptance of the concrete, not the gate.

    Attributes
    ----------
    low : what is too low, each with its figure.
    """

    accepted: bool
    tests: int
    lowest_allowed: str
    low: tuple[str, ...]
    note: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """The forecast of the gate; dates only where the day of placing is known."""

    required: str
    likely: date | None
    earliest: date | None
    latest: date | None
    wait: str
    between: str
    maturity: str
    remarks: tuple[str, ...]
    note: str
    sources: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Strength:
    """The strength gate, with the two judgements that stand beside it.

    `reason` says why the gate is not judged, or to be looked at again.
    """

    verdict: str
    strength: str
    required: str
    reason: str
    delivered: Delivered | None
    ahead: Ahead | None


def strength_of(building: Building) -> Strength | None:
    """Read the latest evaluation; None where it says no more than the gate."""
    rows = Evaluation.objects.filter(building=building).order_by("-pk")
    said: Mapping[str, Any] = (
        rows.values_list("result__concrete", flat=True).first() or {}
    )
    acceptance, forecast = said.get("acceptance"), said.get("forecast")
    if not acceptance and not forecast:
        return None
    return Strength(
        verdict=said["verdict"],
        strength=_both(said.get("strength")),
        required=_both(said.get("required")),
        reason=said.get("reason") or "",
        delivered=_delivered(acceptance) if acceptance else None,
        ahead=_ahead(forecast) if forecast else None,
    )


def _delivered(said: Mapping[str, Any]) -> Delivered:
    tests = (
        f"test {row['test']}: {_both(row['strength'])}"
        for row in said["tests"]
        if row["low"]
    )
    averages = (
        f"average of tests {row['tests'][0]} to {row['tests'][-1]}:"
        f" {_both(row['strength'])}"
        for row in said["averages"]
        if row["low"]
    )
    return Delivered(
        accepted=said["accepted"],
        tests=len(said["tests"]),
        lowest_allowed=_both(said["lowest_allowed"]),
        low=(*tests, *averages),
        note=said["note"],
        source=said["source"],
    )


def _ahead(said: Mapping[str, Any]) -> Ahead:
    days = said["opens_on"] or {}
    unit = "°C h" if said["method"] == "nurse_saul" else "h"
    needed = said["maturity_needed"]
    return Ahead(
        required=_both(said["required"]),
        likely=_date(days.get("likely")),
        earliest=_date(days.get("earliest")),
        latest=_date(days.get("latest")),
        wait=_wait(said["likely_hours"]),
        between=_between(said["earliest_hours"], said["latest_hours"]),
        maturity=f"{said['maturity_now']:,.0f} of"
        f" {'?' if needed is None else f'{needed:,.0f}'} {unit}",
        remarks=tuple(said["remarks"]),
        note=said["note"],
        sources=_joined(said["sources"]),
    )


def _between(earliest: float | None, latest: float | None) -> str:
    """The range of the wait; empty where neither end of it is known."""
    if earliest is None and latest is None:
        return ""
    ends = (
        "an unknown time" if hours is None else _wait(hours)
        for hours in (earliest, latest)
    )
    return " to ".join(ends)


def _wait(hours: float | None) -> str:
    """How long to wait: hours up to two days, then days; empty where not reached."""
    if hours is None:
        return ""
    if hours <= 2 * HOURS_IN_DAY:
        return f"{hours:.0f} h"
    return f"{hours / HOURS_IN_DAY:,.0f} days"


def _both(mpa: float | None) -> str:
    """A strength in either unit; empty where there is none. [MPa]"""
    return "" if mpa is None else strength_words(mpa)


def _date(written: str | None) -> date | None:
    return date.fromisoformat(written) if written else None


def _joined(texts: Iterable[str]) -> str:
    return "; ".join(texts)
