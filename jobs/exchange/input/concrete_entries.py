"""What becomes known of the concrete after the plan was drawn, entry by entry.

The day of placing, temperatures, standard-cured tests, the mixture's cylinders and the
temperatures expected are entered as they come. Each is written with the members that
`concrete` of an exchange document has, and `with_entries` writes them into it, behind
the plan's own: the document's format is one, whichever way its concrete came in.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Literal, get_args

from core.quantities import parse_strength
from jobs.exchange import vocabulary as words
from jobs.exchange.input import concrete
from jobs.exchange.input.json_reader import IssueCollector, JsonReader

ConcreteEntryKind = Literal[
    "placing", "temperature", "standard_cured", "mixture", "expected"
]
CONCRETE_ENTRY_KINDS: tuple[ConcreteEntryKind, ...] = get_args(ConcreteEntryKind)

COMMON_MEMBERS = ("id", "kind", "by", "supersedes", "note")
MATURITY_METHOD_MEMBERS = ("datum", "activation", "reference")
MEMBERS_BY_KIND: dict[ConcreteEntryKind, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "placing": (("placed_on",), ()),
    "temperature": (("at", "temperature"), ("hours",)),
    "standard_cured": (("on", "strength"), ()),
    "mixture": (("on", "curve"), MATURITY_METHOD_MEMBERS),
    "expected": (("on", "expected"), ()),
}
"""The members each kind needs, and those it may have."""

HOUR = timedelta(hours=1)
MIN_INTERVAL = timedelta(minutes=1)  # ours: less than this is no interval


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcreteEntryData:
    """One thing that became known of a building's concrete.

    Attributes
    ----------
    at : when a temperature was read; None for what has only a day.
    on : the day of what has no time; None for a temperature.
    celsius : a temperature [°C].
    hours : since placing, where a temperature says so [h].
    said : the members as they were typed.
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


def parse_concrete_entry(entry: object, pointer: str = "") -> ConcreteEntryData:
    """Read one entry, with the readers of the document's own `concrete`.

    Raises
    ------
    jobs.exchange.reader.DocumentError
        With every error in `errors`.
    """
    refusals = IssueCollector()
    read = _parse_entry(JsonReader(entry, pointer, refusals))
    refusals.raise_if_any()
    return read


def _parse_entry(cursor: JsonReader) -> ConcreteEntryData:
    kind = cursor.child("kind").read_choice(CONCRETE_ENTRY_KINDS)
    needed, optional = MEMBERS_BY_KIND[kind]
    members = cursor.read_object(
        ("id", "kind", *needed), (*COMMON_MEMBERS[2:], *optional)
    )
    if "by" in members:
        members["by"].read_name(60)
    if "note" in members:
        members["note"].read_note(words.MAX_NOTE_LENGTH)
    day = members.get("placed_on") or members.get("on")
    celsius, hours = 0.0, None
    if "temperature" in members:
        celsius = concrete.parse_concrete_temperature(members["temperature"])
    if "hours" in members:
        hours = members["hours"].read_positive_number(concrete.MAX_ELAPSED_H)
    _check_remaining_members(cursor, members)
    replaces = members.get("supersedes")
    return ConcreteEntryData(
        id=members["id"].read_name(words.MAX_ID_LENGTH) if "id" in members else "",
        kind=kind,
        at=members["at"].read_time() if "at" in members else None,
        on=day.read_date() if day else None,
        supersedes=replaces.read_name(words.MAX_ID_LENGTH) if replaces else None,
        celsius=celsius,
        hours=hours,
        members=dict(cursor.value) if isinstance(cursor.value, dict) else {},
    )


def _check_remaining_members(
    cursor: JsonReader, members: Mapping[str, JsonReader]
) -> None:
    """Refuse a strength, a mixture or an expectation that the document would refuse."""
    if "strength" in members:
        members["strength"].read_quantity(parse_strength, above=0.0)
    if "expected" in members:
        concrete.parse_expected_temperatures(members["expected"])
    if "curve" in members:
        concrete.check_maturity_method(cursor, members)
        concrete.parse_curve(members["curve"], concrete.curve_member(members))
        for name in ("datum", "reference"):
            if name in members:
                concrete.parse_concrete_temperature(members[name])
        if "activation" in members:
            members["activation"].read_positive_number(concrete.MAX_ACTIVATION_K)


# ---- all of them --------------------------------------------------------------------


def merge_concrete_entries(
    own: Mapping[str, Any], entries: Sequence[ConcreteEntryData]
) -> dict[str, Any]:
    """Write the document's `concrete`: the plan's own, and what became known since.

    Tests and temperatures follow the plan's; of the day of placing, the mixture and
    the temperatures expected the last entry holds. What the document cannot say yet
    stays out of it (`waited_for`).

    Parameters
    ----------
    own : the plan's `concrete`, as typed.
    entries : those that stand, in the order they were recorded.
    """
    written = dict(own)
    if placing := _last_entry("placing", entries):
        written["placed_on"] = placing.members["placed_on"]
    tests = _list_tests(entries)
    if tests and "specified_strength" in own:
        before = list(own.get("standard_cured", ()))
        written["standard_cured"] = [*before, *tests][: concrete.MAX_STRENGTH_TESTS]
    maturity = _build_maturity(own.get("maturity", {}), entries)
    if maturity and {"specified_strength", "sufficient_strength"} & own.keys():
        written["maturity"] = maturity
    return written


def find_missing_prerequisites(
    own: Mapping[str, Any], entries: Sequence[ConcreteEntryData]
) -> dict[ConcreteEntryKind, str]:
    """Say, by kind, what keeps entries out of the document; empty when nothing does."""
    kinds = {entry.kind for entry in entries}
    waits: dict[ConcreteEntryKind, str] = {}
    if "standard_cured" in kinds and "specified_strength" not in own:
        waits["standard_cured"] = "the specified strength on the plan"
    known = own.get("maturity", {}).keys()
    lacking = [
        said
        for kind, member, said in (
            ("mixture", "curve", "the cylinders of the mixture"),
            ("temperature", "temperatures", "a temperature"),
            ("expected", "expected", "the temperatures expected"),
        )
        if member not in known and kind not in kinds
    ]
    if not {"specified_strength", "sufficient_strength"} & own.keys():
        lacking.append("the specified strength on the plan")
    for kind in ("mixture", "temperature", "expected"):
        if kind in kinds and lacking:
            waits[kind] = " and ".join(lacking)
    return waits


def sort_temperatures(
    entries: Sequence[ConcreteEntryData],
) -> list[tuple[datetime, ConcreteEntryData]]:
    """The temperatures in the order they were read, each beside its time."""
    found = [(entry.at, entry) for entry in entries if entry.at is not None]
    return sorted(found, key=lambda each: each[0])


def find_placing_time(entries: Sequence[ConcreteEntryData]) -> datetime | None:
    """When the concrete was placed, by the first temperature; None where not told."""
    for at, first in sort_temperatures(entries):
        try:
            return None if first.hours is None else at - first.hours * HOUR
        except OverflowError:
            return None
    return None


def _last_entry(
    kind: ConcreteEntryKind, entries: Sequence[ConcreteEntryData]
) -> ConcreteEntryData | None:
    found = [entry for entry in entries if entry.kind == kind]
    return found[-1] if found else None


def _list_tests(entries: Sequence[ConcreteEntryData]) -> list[str]:
    """The standard-cured tests as typed, by their day."""
    found = [entry for entry in entries if entry.kind == "standard_cured"]
    found.sort(key=lambda entry: entry.on or date.min)
    return [entry.members["strength"] for entry in found]


def _build_maturity(
    own: Mapping[str, Any], entries: Sequence[ConcreteEntryData]
) -> dict[str, Any] | None:
    """Write `maturity`; None while any of its three parts is missing."""
    mixture = _last_entry("mixture", entries)
    expected = _last_entry("expected", entries)
    said = mixture.members if mixture else own
    before = list(own.get("temperatures", ()))
    parts = {
        name: said[name] for name in (*MATURITY_METHOD_MEMBERS, "curve") if name in said
    }
    temperatures = [*before, *_build_intervals(before, entries)]
    hoped = expected.members["expected"] if expected else own.get("expected")
    if "curve" not in parts or not temperatures or hoped is None:
        return None
    return {
        **parts,
        "temperatures": temperatures[: concrete.MAX_INTERVALS],
        "expected": hoped,
    }


def _build_intervals(
    before: Sequence[Mapping[str, Any]], entries: Sequence[ConcreteEntryData]
) -> Iterator[dict[str, Any]]:
    """Turn temperatures, each read at a moment, into intervals since placing.

    From one to the next the concrete is taken to change evenly; from placing to the
    first it had the first's. What the plan's own intervals cover is left to them.
    """
    ordered = sort_temperatures(entries)
    if not ordered or ordered[0][1].hours is None:
        return
    began, first = ordered[0]
    covered = sum(each["hours"] for each in before) * HOUR
    earlier, celsius = timedelta(), first.celsius
    for at, entry in ordered:
        age = ordered[0][1].hours * HOUR + (at - began)
        start = max(earlier, covered)
        if age - start >= MIN_INTERVAL:
            there = celsius + (entry.celsius - celsius) * (
                (start - earlier) / (age - earlier)
            )
            mean = round((there + entry.celsius) / 2.0, 4)
            hours = round((age - start) / HOUR, 6)
            yield {"hours": hours, "temperature": f"{mean:.10g} degC"}
        earlier, celsius = age, entry.celsius
