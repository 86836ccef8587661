"""What became known of a building's concrete, for its page."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Page, Paginator

from checks.adapters import concrete_entries
from checks.models import ConcreteEntry
from jobs.exchange.concrete import EXPECTED
from jobs.exchange.concrete_entries import read_concrete_entry, waited_for
from jobs.models import Building, PlanRevision

ENTRIES_A_PAGE = 100
DEGREE = re.compile(r"deg([CF])\b")
UNITS = ("degF", "degC", "psi", "MPa")
QUANTITY = re.compile(r"([-+.0-9]+) ?([A-Za-z]+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """An entry with what a page says of it.

    Attributes
    ----------
    words : what it says, in few words.
    replaces, replaced_by : the other end of a correction, None where there is none.
    """

    row: ConcreteEntry
    words: str
    replaces: ConcreteEntry | None
    replaced_by: ConcreteEntry | None

    @property
    def by(self) -> str:
        """Who took it."""
        return str(self.row.entry.get("by", ""))

    @property
    def note(self) -> str:
        """What was noted."""
        return str(self.row.entry.get("note", ""))


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """Entries that are not used yet, and what for."""

    kind: str
    lacks: str


def known_of(building: Building, page: str | None) -> Page[ConcreteEntry]:
    """Give a page of entries, the newest first."""
    rows = ConcreteEntry.objects.filter(building=building).select_related(
        "recorded_by", "supersedes", "replaced_by"
    )
    return Paginator(rows.order_by("-pk"), ENTRIES_A_PAGE).get_page(page)


def said_of(rows: Iterable[ConcreteEntry]) -> list[Known]:
    """Prepare entries for a page; `replaced_by` is to be selected with them."""
    return [
        Known(
            row=row,
            words=words_of(row.kind, row.entry),
            replaces=row.supersedes,
            replaced_by=getattr(row, "replaced_by", None),
        )
        for row in rows
    ]


def not_used(building: Building, revision: PlanRevision) -> list[Waiting]:
    """List the kinds of entries that wait for something else to be known."""
    said = [read_concrete_entry(row.entry) for row in concrete_entries(building)]
    waits = waited_for(revision.document.get("concrete", {}), said)
    return [
        Waiting(kind=ConcreteEntry.Kind(kind).label, lacks=lacks)
        for kind, lacks in waits.items()
    ]


def has_temperature(building: Building) -> bool:
    """Whether a temperature stands, so that the next needs no hours since placing."""
    found = ConcreteEntry.objects.filter(building=building, kind="temperature")
    return found.standing().exists()


def kind_words(kind: str) -> str:
    """Name a kind of entry."""
    return str(ConcreteEntry.Kind(kind).label).capitalize()


def words_of(kind: str, said: Mapping[str, Any]) -> str:
    """Say what an entry says, whether of the record or of a frozen one."""
    kinds = ConcreteEntry.Kind
    if kind == kinds.TEMPERATURE:
        hours = said.get("hours")
        age = "" if hours is None else f", {hours:g} h after placing"
        return f"{_degrees(said['temperature'])}{age}"
    if kind == kinds.STANDARD_CURED:
        return str(said["strength"])
    if kind == kinds.PLACING:
        return "placed"
    if kind == kinds.EXPECTED:
        each = ((name, said["expected"][name]) for name in EXPECTED)
        return ", ".join(f"{name} {_degrees(text)}" for name, text in each)
    method = f"datum {_degrees(said['datum'])}" if "datum" in said else "equivalent age"
    return f"{len(said['curve'])} cylinders, {method}"


def initial_of(building: Building, client_id: str) -> dict[str, Any]:
    """Give what a form starts from that replaces an entry; empty where none stands."""
    rows = ConcreteEntry.objects.filter(building=building).standing()
    named = client_id.isprintable() and client_id  # or the database cannot look for it
    row = rows.filter(client_id=client_id).first() if named else None
    if row is None:
        return {}
    said = row.entry
    start: dict[str, Any] = {"by": said.get("by", ""), "supersedes": row.client_id}
    for name in ("on", "placed_on", "hours", "activation"):
        if name in said:
            start[name] = said[name]
    if row.at is not None:
        start["at"] = row.at
    for name in ("temperature", "strength", "datum", "reference"):
        start |= _split(said, name)
    parts = [_split(said.get("expected", {}), name) for name in EXPECTED]
    if len({part.get("degree") for part in parts}) == 1:  # the form has but one
        start |= {name: text for part in parts for name, text in part.items()}
    if "curve" in said:
        start["method"] = "datum" if "datum" in said else "age"
        start["curve"] = "\n".join(
            f"{each.get('maturity', each.get('age')):g} {each['strength']}"
            for each in said["curve"]
        )
    return {**start, "kind": row.kind, "words": words_of(row.kind, said)}


def _split(said: Mapping[str, Any], name: str) -> dict[str, str]:
    """Part a quantity into its number and its unit; empty where the form has it not."""
    found = QUANTITY.fullmatch(str(said.get(name, "")).strip())
    if found is None or found[2] not in UNITS:
        return {}
    unit = "pressure" if name == "strength" else "degree"
    return {name: found[1], unit: found[2]}


def _degrees(text: str) -> str:
    return DEGREE.sub(r"°\1", text)
