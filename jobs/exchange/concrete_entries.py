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
from jobs.exchange import concrete
from jobs.exchange import vocabulary as words
from jobs.exchange.reader import Cursor, Refusals

Kind = Literal["placing", "temperature", "standard_cured", "mixture", "expected"]
KINDS: tuple[Kind, ...] = get_args(Kind)

COMMON = ("id", "kind", "by", "supersedes", "note")
METHOD = ("datum", "activation", "reference")
MEMBERS: dict[Kind, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "placing": (("placed_on",), ()),
    "temperature": (("at", "temperature"), ("hours",)),
    "standard_cured": (("on", "strength"), ()),
    "mixture": (("on", "curve"), METHOD),
    "expected": (("on", "expected"), ()),
}
"""The members each kind needs, and those it may have."""

HOUR = timedelta(hours=1)
MOMENT = timedelta(minutes=1)  # ours: less than this is no interval


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcreteEntry:
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
    kind: Kind
    at: datetime | None
    on: date | None
    supersedes: str | None
    celsius: float
    hours: float | None
    said: Mapping[str, Any]


# ---- one entry ----------------------------------------------------------------------


def read_concrete_entry(entry: object, pointer: str = "") -> ConcreteEntry:
    """Read one entry, with the readers of the document's own `concrete`.

    Raises
    ------
    jobs.exchange.reader.DocumentError
        With every error in `errors`.
    """
    refusals = Refusals()
    read = _read(Cursor(entry, pointer, refusals))
    refusals.settle()
    return read


def _read(cursor: Cursor) -> ConcreteEntry:
    kind = cursor.at("kind").word(KINDS)
    needed, optional = MEMBERS[kind]
    members = cursor.members(("id", "kind", *needed), (*COMMON[2:], *optional))
    if "by" in members:
        members["by"].name(60)
    if "note" in members:
        members["note"].note(words.LONGEST_NOTE)
    day = members.get("placed_on") or members.get("on")
    celsius, hours = 0.0, None
    if "temperature" in members:
        celsius = concrete.read_celsius(members["temperature"])
    if "hours" in members:
        hours = members["hours"].plain(concrete.MOST_HOURS)
    _read_rest(cursor, members)
    replaces = members.get("supersedes")
    return ConcreteEntry(
        id=members["id"].name(words.LONGEST_ID) if "id" in members else "",
        kind=kind,
        at=members["at"].time() if "at" in members else None,
        on=day.date() if day else None,
        supersedes=replaces.name(words.LONGEST_ID) if replaces else None,
        celsius=celsius,
        hours=hours,
        said=dict(cursor.value) if isinstance(cursor.value, dict) else {},
    )


def _read_rest(cursor: Cursor, members: Mapping[str, Cursor]) -> None:
    """Refuse a strength, a mixture or an expectation that the document would refuse."""
    if "strength" in members:
        members["strength"].quantity(parse_strength, above=0.0)
    if "expected" in members:
        concrete.read_expected(members["expected"])
    if "curve" in members:
        concrete.choose_method(cursor, members)
        concrete.read_curve(members["curve"], concrete.unit_of(members))
        for name in ("datum", "reference"):
            if name in members:
                concrete.read_celsius(members[name])
        if "activation" in members:
            members["activation"].plain(concrete.MOST_ACTIVATION)


# ---- all of them --------------------------------------------------------------------


def with_entries(
    own: Mapping[str, Any], entries: Sequence[ConcreteEntry]
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
    if placing := _last("placing", entries):
        written["placed_on"] = placing.said["placed_on"]
    tests = _tests(entries)
    if tests and "specified_strength" in own:
        before = list(own.get("standard_cured", ()))
        written["standard_cured"] = [*before, *tests][: concrete.MOST_TESTS]
    maturity = _maturity(own.get("maturity", {}), entries)
    if maturity and {"specified_strength", "sufficient_strength"} & own.keys():
        written["maturity"] = maturity
    return written


def waited_for(
    own: Mapping[str, Any], entries: Sequence[ConcreteEntry]
) -> dict[Kind, str]:
    """Say, by kind, what keeps entries out of the document; empty when nothing does."""
    kinds = {entry.kind for entry in entries}
    waits: dict[Kind, str] = {}
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


def in_order(entries: Sequence[ConcreteEntry]) -> list[tuple[datetime, ConcreteEntry]]:
    """The temperatures in the order they were read, each beside its time."""
    found = [(entry.at, entry) for entry in entries if entry.at is not None]
    return sorted(found, key=lambda each: each[0])


def placed_at(entries: Sequence[ConcreteEntry]) -> datetime | None:
    """When the concrete was placed, by the first temperature; None where not told."""
    for at, first in in_order(entries):
        try:
            return None if first.hours is None else at - first.hours * HOUR
        except OverflowError:
            return None
    return None


def _last(kind: Kind, entries: Sequence[ConcreteEntry]) -> ConcreteEntry | None:
    found = [entry for entry in entries if entry.kind == kind]
    return found[-1] if found else None


def _tests(entries: Sequence[ConcreteEntry]) -> list[str]:
    """The standard-cured tests as typed, by their day."""
    found = [entry for entry in entries if entry.kind == "standard_cured"]
    found.sort(key=lambda entry: entry.on or date.min)
    return [entry.said["strength"] for entry in found]


def _maturity(
    own: Mapping[str, Any], entries: Sequence[ConcreteEntry]
) -> dict[str, Any] | None:
    """Write `maturity`; None while any of its three parts is missing."""
    mixture = _last("mixture", entries)
    expected = _last("expected", entries)
    said = mixture.said if mixture else own
    before = list(own.get("temperatures", ()))
    parts = {name: said[name] for name in (*METHOD, "curve") if name in said}
    temperatures = [*before, *_intervals(before, entries)]
    hoped = expected.said["expected"] if expected else own.get("expected")
    if "curve" not in parts or not temperatures or hoped is None:
        return None
    return {
        **parts,
        "temperatures": temperatures[: concrete.MOST_INTERVALS],
        "expected": hoped,
    }


def _intervals(
    before: Sequence[Mapping[str, Any]], entries: Sequence[ConcreteEntry]
) -> Iterator[dict[str, Any]]:
    """Turn temperatures, each read at a moment, into intervals since placing.

    From one to the next the concrete is taken to change evenly; from placing to the
    first it had the first's. What the plan's own intervals cover is left to them.
    """
    ordered = in_order(entries)
    if not ordered or ordered[0][1].hours is None:
        return
    began, first = ordered[0]
    covered = sum(each["hours"] for each in before) * HOUR
    earlier, celsius = timedelta(), first.celsius
    for at, entry in ordered:
        age = ordered[0][1].hours * HOUR + (at - began)
        start = max(earlier, covered)
        if age - start >= MOMENT:
            there = celsius + (entry.celsius - celsius) * (
                (start - earlier) / (age - earlier)
            )
            mean = round((there + entry.celsius) / 2.0, 4)
            hours = round((age - start) / HOUR, 6)
            yield {"hours": hours, "temperature": f"{mean:.10g} degC"}
        earlier, celsius = age, entry.celsius
