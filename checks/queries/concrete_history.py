"""What became known of a building's concrete, for its page."""

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
    """An entry with what a page says of it.

    Attributes
    ----------
    words : what it says, in few words.
    replaces, replaced_by : the other end of a correction, None where there is none.
    """

    row: ConcreteEntry
    text: str
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
class UnusedEntries:
    """Entries that are not used yet, and what for."""

    kind: str
    missing: str


def paginate_entries(building: Building, page: str | None) -> Page[ConcreteEntry]:
    """Give a page of entries, the newest first."""
    rows = ConcreteEntry.objects.filter(building=building).select_related(
        "recorded_by", "supersedes", "replaced_by"
    )
    return Paginator(rows.order_by("-pk"), ENTRIES_PER_PAGE).get_page(page)


def build_history_rows(rows: Iterable[ConcreteEntry]) -> list[ConcreteHistoryRow]:
    """Prepare entries for a page; `replaced_by` is to be selected with them."""
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
    """List the kinds of entries that wait for something else to be known."""
    said = [parse_concrete_entry(row.entry) for row in fetch_concrete_entries(building)]
    waits = find_missing_prerequisites(revision.document.get("concrete", {}), said)
    return [
        UnusedEntries(kind=ConcreteEntry.Kind(kind).label, missing=lacks)
        for kind, lacks in waits.items()
    ]


def has_temperature(building: Building) -> bool:
    """Whether a temperature stands, so that the next needs no hours since placing."""
    found = ConcreteEntry.objects.filter(building=building, kind="temperature")
    return found.current().exists()


def get_kind_label(kind: str) -> str:
    """Name a kind of entry."""
    return str(ConcreteEntry.Kind(kind).label).capitalize()


def describe_entry(kind: str, entry: Mapping[str, Any]) -> str:
    """Say what an entry says, whether of the record or of a frozen one."""
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
    """Give what a form starts from that replaces an entry; empty where none stands."""
    rows = ConcreteEntry.objects.filter(building=building).current()
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
        start |= _split_quantity(said, name)
    parts = [
        _split_quantity(said.get("expected", {}), name) for name in EXPECTED_MEMBERS
    ]
    if len({part.get("degree") for part in parts}) == 1:  # the form has but one
        start |= {name: text for part in parts for name, text in part.items()}
    if "curve" in said:
        start["method"] = "datum" if "datum" in said else "age"
        start["curve"] = "\n".join(
            f"{each.get('maturity', each.get('age')):g} {each['strength']}"
            for each in said["curve"]
        )
    return {**start, "kind": row.kind, "words": describe_entry(row.kind, said)}


def _split_quantity(entry: Mapping[str, Any], name: str) -> dict[str, str]:
    """Part a quantity into its number and its unit; empty where the form has it not."""
    found = QUANTITY.fullmatch(str(entry.get(name, "")).strip())
    if found is None or found[2] not in UNITS:
        return {}
    unit = "pressure" if name == "strength" else "degree"
    return {name: found[1], unit: found[2]}


def _format_temperature(text: str) -> str:
    return DEGREE_UNIT.sub(r"°\1", text)
