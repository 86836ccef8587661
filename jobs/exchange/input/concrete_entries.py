"""Concrete data recorded after the plan was drawn, entry by entry.

The day of placing, temperatures, standard-cured tests, the mixture's cylinders and the
expected temperatures are recorded as they come in. Each entry has the members that
`concrete` of a building document has, and `merge_concrete_entries` writes them into
it, after the plan's own: the document's format is one, whichever way its concrete came.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from jobs.exchange import vocabulary
from jobs.exchange.input.concrete import (
    check_maturity_method,
    parse_curve,
    parse_expected_temperatures,
)
from jobs.exchange.input.concrete_format import (
    CONCRETE_ENTRY_KINDS,
    MEMBERS_BY_ENTRY_KIND,
    ConcreteEntryKind,
    MaturityMethodMembers,
)
from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.input.members import read_members
from jobs.exchange.issues import IssueCollector

HOUR = timedelta(hours=1)
MIN_INTERVAL = timedelta(minutes=1)
"""Two temperatures closer together than this make no interval. Project choice."""

_STRENGTHS = frozenset({"specified_strength", "sufficient_strength"})
_NEEDS_STRENGTH = "the specified strength on the plan"


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcreteEntryData:
    """One entry of a building's concrete data.

    Attributes
    ----------
    at : when a temperature was read; None for other kinds.
    on : the day of an entry that has no time; None for a temperature.
    celsius : a temperature. [°C]
    hours : since placing, if a temperature states it. [h]
    members : the entry as it was typed.
    """

    id: str
    kind: ConcreteEntryKind
    at: datetime | None
    on: date | None
    supersedes: str | None
    celsius: float
    hours: float | None
    members: Mapping[str, Any]


# ---- one entry ----------------------------------------------------------------------


def parse_concrete_entry(
    entry: object, pointer: str = "", *, now: datetime | None = None
) -> ConcreteEntryData:
    """Parse one entry, by the definitions of the document's own `concrete`.

    Parameters
    ----------
    entry : as loaded from JSON.
    pointer : JSON Pointer to it, for the issues.
    now : the present time, by which times to come are refused; None for an entry that
        is in the record already.

    Raises
    ------
    DocumentError
        With every issue.
    """
    collector = IssueCollector(now=now)
    read = _parse_entry(JsonReader(entry, collector, step=pointer))
    collector.raise_if_any()
    return read


def _parse_entry(reader: JsonReader) -> ConcreteEntryData:
    kind = reader.child("kind").read_choice(CONCRETE_ENTRY_KINDS)
    members: Any = read_members(reader, MEMBERS_BY_ENTRY_KIND[kind])
    if "expected" in members:
        parse_expected_temperatures(members["expected"])
    if "curve" in members:
        check_maturity_method(reader, members)
        parse_curve(reader, members["curve"], members)
    return ConcreteEntryData(
        id=members.get("id", ""),
        kind=kind,
        at=members.get("at"),
        on=members.get("placed_on") or members.get("on"),
        supersedes=members.get("supersedes"),
        celsius=members.get("temperature", 0.0),
        hours=members.get("hours"),
        members=dict(reader.value) if isinstance(reader.value, dict) else {},
    )


# ---- all of them --------------------------------------------------------------------


def merge_concrete_entries(
    own: Mapping[str, Any], entries: Sequence[ConcreteEntryData]
) -> dict[str, Any]:
    """Write the document's `concrete`: the plan's own, then what was recorded since.

    Tests and temperatures follow the plan's; of the day of placing, the mixture and
    the expected temperatures the last entry counts. What the document cannot have yet
    is left out (`find_missing_prerequisites`).

    Parameters
    ----------
    own : the plan's `concrete`, as typed.
    entries : the current ones, in the order they were recorded.
    """
    merged = dict(own)
    if placing := _last_entry("placing", entries):
        merged["placed_on"] = placing.members["placed_on"]
    tests = _list_tests(entries)
    if tests and "specified_strength" in own:
        before = list(own.get("standard_cured", ()))
        # More would make a document that the parser refuses.
        merged["standard_cured"] = [*before, *tests][: vocabulary.MAX_STRENGTH_TESTS]
    maturity = _build_maturity(own.get("maturity", {}), entries)
    if maturity and _STRENGTHS & own.keys():
        merged["maturity"] = maturity
    return merged


def find_missing_prerequisites(
    own: Mapping[str, Any], entries: Sequence[ConcreteEntryData]
) -> dict[ConcreteEntryKind, str]:
    """Return, by kind, what keeps entries out of the document; empty if none."""
    kinds = {entry.kind for entry in entries}
    missing: dict[ConcreteEntryKind, str] = {}
    if "standard_cured" in kinds and "specified_strength" not in own:
        missing["standard_cured"] = _NEEDS_STRENGTH
    own_parts = own.get("maturity", {}).keys()
    parts: dict[ConcreteEntryKind, tuple[str, str]] = {
        "mixture": ("curve", "the cylinders of the mixture"),
        "temperature": ("temperatures", "a temperature"),
        "expected": ("expected", "the expected temperatures"),
    }
    lacking = [
        words
        for kind, (member, words) in parts.items()
        if member not in own_parts and kind not in kinds
    ]
    if not _STRENGTHS & own.keys():
        lacking.append(_NEEDS_STRENGTH)
    if lacking:
        words = " and ".join(lacking)
        missing.update({kind: words for kind in parts if kind in kinds})
    return missing


def sort_temperatures(
    entries: Sequence[ConcreteEntryData],
) -> list[tuple[datetime, ConcreteEntryData]]:
    """Return the temperatures in the order they were read, each beside its time."""
    timed = [(entry.at, entry) for entry in entries if entry.at is not None]
    return sorted(timed, key=lambda each: each[0])


def find_placing_time(entries: Sequence[ConcreteEntryData]) -> datetime | None:
    """Return when concrete was placed, by the first temperature; None if unknown."""
    for at, first in sort_temperatures(entries):
        try:
            return None if first.hours is None else at - first.hours * HOUR
        except OverflowError:
            return None
    return None


def _last_entry(
    kind: ConcreteEntryKind, entries: Sequence[ConcreteEntryData]
) -> ConcreteEntryData | None:
    of_kind = [entry for entry in entries if entry.kind == kind]
    return of_kind[-1] if of_kind else None


def _list_tests(entries: Sequence[ConcreteEntryData]) -> list[str]:
    """Return the standard-cured tests as typed, by their day."""
    tests = [entry for entry in entries if entry.kind == "standard_cured"]
    tests.sort(key=lambda entry: entry.on or date.min)
    return [entry.members["strength"] for entry in tests]


def _build_maturity(
    own: Mapping[str, Any], entries: Sequence[ConcreteEntryData]
) -> dict[str, Any] | None:
    """Write `maturity`; None while any of its three parts is missing."""
    mixture = _last_entry("mixture", entries)
    expected = _last_entry("expected", entries)
    source = mixture.members if mixture else own
    before = list(own.get("temperatures", ()))
    names = (*MaturityMethodMembers.__annotations__, "curve")
    parts = {name: source[name] for name in names if name in source}
    temperatures = [*before, *_build_intervals(before, entries)]
    expected_temperatures = (
        expected.members["expected"] if expected else own.get("expected")
    )
    if "curve" not in parts or not temperatures or expected_temperatures is None:
        return None
    return {
        **parts,
        "temperatures": temperatures[: vocabulary.MAX_INTERVALS],
        "expected": expected_temperatures,
    }


def _build_intervals(
    before: Sequence[Mapping[str, Any]], entries: Sequence[ConcreteEntryData]
) -> Iterator[dict[str, Any]]:
    """Turn temperatures, each read at a moment, into intervals since placing.

    Between two of them the temperature is taken as changing evenly; from placing to
    the first it is taken as the first. What the plan's own intervals cover is left to
    them.
    """
    ordered = sort_temperatures(entries)
    if not ordered or ordered[0][1].hours is None:
        return
    began, first = ordered[0]
    first_age = ordered[0][1].hours * HOUR
    covered = sum(each["hours"] for each in before) * HOUR
    earlier, celsius = timedelta(), first.celsius
    for at, entry in ordered:
        age = first_age + (at - began)
        start = max(earlier, covered)
        if age - start >= MIN_INTERVAL:
            share = (start - earlier) / (age - earlier)
            # The plan may cover a part of the interval; the rest starts at that moment.
            at_start = celsius + (entry.celsius - celsius) * share
            mean = round((at_start + entry.celsius) / 2.0, 4)
            hours = round((age - start) / HOUR, 6)
            yield {"hours": hours, "temperature": f"{mean:.10g} degC"}
        earlier, celsius = age, entry.celsius
