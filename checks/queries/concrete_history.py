"""History of a building's concrete data, recorded after the plan."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Page, Paginator

from checks.evaluation_input import fetch_concrete_entries
from checks.models import ConcreteEntry
from jobs.exchange.input.concrete_entries import (
    find_missing_prerequisites,
    parse_concrete_entry,
)
from jobs.exchange.input.concrete_format import EXPECTED_MEMBERS
from jobs.models import Building, PlanRevision

ENTRIES_PER_PAGE = 100
DEGREE_UNIT = re.compile(r"deg([CF])\b")
UNITS = ("degF", "degC", "psi", "MPa")
QUANTITY = re.compile(r"([-+.0-9]+) ?([A-Za-z]+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcreteHistoryRow:
    """An entry with its text and its corrections.

    Attributes
    ----------
    text : str
        The entry in few words.
    replaces, replaced_by : ConcreteEntry or None
        The other entry of a correction.
    """

    row: ConcreteEntry
    text: str
    replaces: ConcreteEntry | None
    replaced_by: ConcreteEntry | None

    @property
    def by(self) -> str:
        """Name of who took it."""
        return str(self.row.entry.get("by", ""))

    @property
    def note(self) -> str:
        """Note of the entry."""
        return str(self.row.entry.get("note", ""))


@dataclass(frozen=True, slots=True, kw_only=True)
class UnusedEntries:
    """Entries that are not used yet, and the data they wait for."""

    kind: str
    missing: str


def paginate_entries(building: Building, page: str | None) -> Page[ConcreteEntry]:
    """Return a page of entries, the newest first."""
    rows = ConcreteEntry.objects.filter(building=building).select_related(
        "recorded_by", "supersedes", "replaced_by"
    )
    return Paginator(rows.order_by("-pk"), ENTRIES_PER_PAGE).get_page(page)


def build_history_rows(rows: Iterable[ConcreteEntry]) -> list[ConcreteHistoryRow]:
    """Build rows of entries that were loaded with `replaced_by` and `supersedes`."""
    return [
        ConcreteHistoryRow(
            row=row,
            text=describe_entry(row.kind, row.entry),
            replaces=row.supersedes,
            replaced_by=getattr(row, "replaced_by", None),
        )
        for row in rows
    ]


def list_unused_entries(
    building: Building, revision: PlanRevision
) -> list[UnusedEntries]:
    """List the kinds of entries that wait for other data."""
    entries = [
        parse_concrete_entry(row.entry) for row in fetch_concrete_entries(building)
    ]
    # The plan may already have what an entry waits for, such as the day of placing.
    planned = revision.document.get("concrete", {})
    return [
        UnusedEntries(kind=ConcreteEntry.Kind(kind).label, missing=missing)
        for kind, missing in find_missing_prerequisites(planned, entries).items()
    ]


def has_temperature(building: Building) -> bool:
    """Return True once there is a temperature: further ones need no concrete age."""
    found = ConcreteEntry.objects.filter(building=building, kind="temperature")
    return found.current().exists()


def get_kind_label(kind: str) -> str:
    """Return the label of a kind of entry."""
    return str(ConcreteEntry.Kind(kind).label).capitalize()


def describe_entry(kind: str, entry: Mapping[str, Any]) -> str:
    """Describe an entry in few words, as stored or as in a release record."""
    kinds = ConcreteEntry.Kind
    if kind == kinds.TEMPERATURE:
        hours = entry.get("hours")
        age = "" if hours is None else f", {hours:g} h after placing"
        return f"{_format_temperature(entry['temperature'])}{age}"
    if kind == kinds.STANDARD_CURED:
        return str(entry["strength"])
    if kind == kinds.PLACING:
        return "placed"
    if kind == kinds.EXPECTED:
        each = ((name, entry["expected"][name]) for name in EXPECTED_MEMBERS)
        return ", ".join(f"{name} {_format_temperature(text)}" for name, text in each)
    method = (
        f"datum {_format_temperature(entry['datum'])}"
        if "datum" in entry
        else "equivalent age"
    )
    return f"{len(entry['curve'])} cylinders, {method}"


def get_form_initial(building: Building, client_id: str) -> dict[str, Any]:
    """Return the initial values of a form that replaces an entry; empty without one."""
    rows = ConcreteEntry.objects.filter(building=building).current()
    printable = client_id.isprintable() and client_id  # PostgreSQL rejects NUL
    row = rows.filter(client_id=client_id).first() if printable else None
    if row is None:
        return {}
    entry = row.entry
    start: dict[str, Any] = {"by": entry.get("by", ""), "supersedes": row.client_id}
    for name in ("on", "placed_on", "hours", "activation"):
        if name in entry:
            start[name] = entry[name]
    if row.at is not None:
        start["at"] = row.at
    for name in ("temperature", "strength", "datum", "reference"):
        start |= _split_quantity(entry, name)
    parts = [
        _split_quantity(entry.get("expected", {}), name) for name in EXPECTED_MEMBERS
    ]
    if (
        len({part.get("degree") for part in parts}) == 1
    ):  # the form has one unit for all
        start |= {name: text for part in parts for name, text in part.items()}
    if "curve" in entry:
        start["method"] = "datum" if "datum" in entry else "age"
        start["curve"] = "\n".join(
            f"{each.get('maturity', each.get('age')):g} {each['strength']}"
            for each in entry["curve"]
        )
    return {**start, "kind": row.kind, "text": describe_entry(row.kind, entry)}


def _split_quantity(entry: Mapping[str, Any], name: str) -> dict[str, str]:
    """Split a quantity into number and unit; empty where the form has no such unit."""
    found = QUANTITY.fullmatch(str(entry.get(name, "")).strip())
    if found is None or found[2] not in UNITS:
        return {}
    unit = "pressure" if name == "strength" else "degree"
    return {name: found[1], unit: found[2]}


def _format_temperature(text: str) -> str:
    return DEGREE_UNIT.sub(r"°\1", text)
