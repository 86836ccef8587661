"""What becomes known of the concrete, recorded: temperatures, tests, the mixture."""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from itertools import pairwise
from typing import Any

from django.db import transaction
from django.utils.timezone import now

from checks.evaluation_input import fetch_concrete_entries, merge_concrete
from checks.models import ConcreteEntry
from checks.services.decision_snapshot import serialize_person
from checks.services.evaluation import evaluate_building, mark_evaluation_due
from core.models import Person
from core.permissions import Action, require
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.input.concrete_entries import (
    HOUR,
    find_placing_time,
    parse_concrete_entry,
    sort_temperatures,
)
from jobs.exchange.input.concrete_entries import ConcreteEntryData as Said
from jobs.exchange.input.parser import DocumentError, DocumentIssue, parse_building
from jobs.models import Building, PlanRevision

logger = logging.getLogger(__name__)

MAX_ENTRIES = 1000
ENTRY_CLOCK_TOLERANCE = timedelta(
    minutes=10
)  # ours: as much as a phone's clock may be ahead
EARLIEST_YEAR = 1950  # ours: no record of concrete entered here is older
PLACING_TOLERANCE = HOUR  # ours: how exactly a crew knows when it was placed
DATE_TOLERANCE = timedelta(days=1)  # a date has no zone


@dataclass(frozen=True, slots=True)
class RecordedConcrete:
    """What became of the entries that were handed in.

    Attributes
    ----------
    stored : new in the record, in the order given.
    repeated : already in the record with the same content; nothing was done.
    refused : why they were not taken, each with its place; then none is stored.
    """

    stored: list[ConcreteEntry]
    repeated: list[ConcreteEntry]
    refused: list[DocumentIssue]


def record_concrete(
    *, actor: Person, building: Building, entries: Sequence[object]
) -> RecordedConcrete:
    """Record what became known of a building's concrete, and evaluate by it.

    All of it or nothing. What is sent twice is stored once. What is stored stays
    stored: where the evaluation fails, the sweep tries again.

    Parameters
    ----------
    actor : who hands it in, and answers for it.
    building : whose concrete it is.
    entries : as `jobs.exchange.input.concrete_entries` reads them, decoded from JSON.

    Raises
    ------
    django.core.exceptions.PermissionDenied
        If this person does not record readings on this job.
    """
    require(actor, Action.RECORD_READING, roles=building.roles_of(actor))
    recorded = _store_entries(actor, building, entries)
    if recorded.stored:
        try:
            evaluate_building(building.pk)
        except Exception:
            # The entries are safe and the building is still marked as due.
            logger.exception("Building %s could not be evaluated.", building.pk)
        building.refresh_from_db()
    return recorded


def serialize_concrete_entry(row: ConcreteEntry) -> dict[str, Any]:
    """Write one entry for a frozen record: what, who, when."""
    return {
        "id": row.client_id,
        "kind": row.kind,
        "entry": row.entry,
        "recorded_by": serialize_person(row.recorded_by),
        "recorded_at": row.recorded_at.isoformat(),
        "supersedes": row.supersedes.client_id if row.supersedes else None,
    }


@transaction.atomic
def _store_entries(
    actor: Person, building: Building, entries: Sequence[object]
) -> RecordedConcrete:
    # Two at once: the second waits here and then finds the first's entries.
    Building.objects.select_for_update(no_key=True).get(pk=building.pk)
    if len(entries) > MAX_ENTRIES:
        msg = f"At most {MAX_ENTRIES} entries go in at once, not {len(entries)}."
        return RecordedConcrete([], [], [DocumentIssue("/entries", msg)])
    batch = _ConcreteBatch(building, building.current_revision())
    batch.read(entries)
    if batch.refused:
        return RecordedConcrete([], batch.repeated, batch.refused)
    stored = [batch.save(actor, each) for each in batch.fresh]
    if stored:
        mark_evaluation_due(building)
    return RecordedConcrete(stored, batch.repeated, [])


@dataclass(slots=True)
class _NewConcreteEntry:
    """An entry that is new to the record, and where it stands."""

    place: int
    said: Said
    entry: dict[str, Any]

    def wrong(self, member: str, message: str) -> DocumentIssue:
        return DocumentIssue(f"/entries/{self.place}/{member}", message)


@dataclass
class _ConcreteBatch:
    """Entries handed in together: sorted into new, repeated and refused."""

    building: Building
    revision: PlanRevision
    refused: list[DocumentIssue] = field(default_factory=list)
    repeated: list[ConcreteEntry] = field(default_factory=list)
    fresh: list[_NewConcreteEntry] = field(default_factory=list)
    known: dict[str, ConcreteEntry] = field(default_factory=dict)
    replaced: dict[str, str] = field(default_factory=dict)

    def read(self, entries: Sequence[object]) -> None:
        """Sort every entry; nothing is stored."""
        rows = ConcreteEntry.objects.filter(building=self.building)
        for row in rows.select_related("supersedes").order_by("pk"):
            self.known[row.client_id] = row
            if row.supersedes is not None:
                self.replaced[row.supersedes.client_id] = row.client_id
        for place, entry in enumerate(entries):
            try:
                self._sort(place, entry)
            except DocumentError as error:
                self.refused += error.issues
        if self.fresh and not self.refused:
            self.refused += self._together()

    def save(self, actor: Person, fresh: _NewConcreteEntry) -> ConcreteEntry:
        """Store one; what it replaces stands before it."""
        said = fresh.said
        row = ConcreteEntry.objects.create(
            building=self.building,
            client_id=said.id,
            kind=said.kind,
            entry=fresh.entry,
            digest=sha256_of(fresh.entry),
            at=said.at,
            on=said.on,
            supersedes=self.known.get(said.supersedes or ""),
            recorded_by=actor,
        )
        self.known[said.id] = row
        return row

    def _sort(self, place: int, entry: object) -> None:
        said = parse_concrete_entry(entry, f"/entries/{place}")
        assert isinstance(entry, dict)  # noqa: S101  # or the reader had refused it
        fresh = _NewConcreteEntry(place, said, entry)
        known = self.known.get(said.id)
        if known is not None and known.digest == sha256_of(entry):
            self.repeated.append(known)
            return
        others = {each.said.id: each for each in self.fresh}
        if said.id in others and others[said.id].entry == entry:
            return
        if said.id in others or known is not None:
            self.refused.append(
                fresh.wrong(
                    "id",
                    f"The id {said.id} belongs to another entry already; a correction "
                    "has an id of its own and names this one in `supersedes`.",
                )
            )
            return
        kinds = {key: row.kind for key, row in self.known.items()}
        kinds |= {key: each.said.kind for key, each in others.items()}
        if reason := self._why_not(said, kinds):
            self.refused.append(fresh.wrong("supersedes", reason))
            return
        if said.supersedes:
            self.replaced[said.supersedes] = said.id
        self.fresh.append(fresh)

    def _why_not(self, said: Said, kinds: Mapping[str, str]) -> str | None:
        """Say why it cannot replace what it names."""
        target = said.supersedes
        if target is None:
            return None
        if target not in kinds:
            return (
                f"There is no entry {target} of this building to replace; leave "
                "`supersedes` out to record another one."
            )
        if kinds[target] != said.kind:
            return (
                f"The entry {target} is a {kinds[target]}; a correction is of the same "
                "kind."
            )
        if target in self.replaced:
            return (
                f"The entry {target} was replaced by {self.replaced[target]} already; "
                "name the one that stands."
            )
        return None

    def _together(self) -> list[DocumentIssue]:
        """Refuse what cannot be true beside what else is known."""
        standing = [
            parse_concrete_entry(row.entry)
            for row in fetch_concrete_entries(self.building)
            if row.client_id not in self.replaced
        ]
        standing += [
            each.said for each in self.fresh if each.said.id not in self.replaced
        ]
        document = self.revision.document
        written = merge_concrete(document, standing)
        wrong = [*_check_dates(self.fresh), *_check_temperatures(self.fresh, standing)]
        wrong += _check_placing_day(self.fresh, standing, written.get("concrete", {}))
        if not wrong:
            try:
                parse_building(written)
            except DocumentError as error:
                wrong += [
                    DocumentIssue("/entries", each.message) for each in error.issues
                ]
        return wrong


def _check_dates(fresh: Sequence[_NewConcreteEntry]) -> list[DocumentIssue]:
    """Refuse what is dated after now, or before there was any of it to know."""
    latest = now() + ENTRY_CLOCK_TOLERANCE
    wrong = []
    for each in fresh:
        day = each.said.on
        member = "placed_on" if each.said.kind == "placing" else "on"
        if each.said.at is not None:
            day, member = each.said.at.date(), "at"
            if each.said.at > latest:
                wrong.append(each.wrong("at", "This time is still to come."))
                continue
        if day is not None and day > (latest + DATE_TOLERANCE).date():
            wrong.append(each.wrong(member, "This day is still to come."))
        if day is not None and day.year < EARLIEST_YEAR:
            msg = f"This is before {EARLIEST_YEAR}; look for a typing error."
            wrong.append(each.wrong(member, msg))
    return wrong


def _check_temperatures(
    fresh: Sequence[_NewConcreteEntry], standing: Sequence[Said]
) -> list[DocumentIssue]:
    """Refuse temperatures that make no history: from when it was placed, one by one."""
    ordered = sort_temperatures(standing)
    new = {each.said.id: each for each in fresh}
    wrong = []
    for (at, first), (next_at, second) in pairwise(ordered):
        each = new.get(second.id) or new.get(first.id)
        if at == next_at and each:
            msg = "There is a temperature of this very time; replace that one."
            wrong.append(each.wrong("at", msg))
    if ordered and ordered[0][1].hours is None:
        each = new.get(ordered[0][1].id) or fresh[0]
        msg = (
            "The first temperature has to say how long ago the concrete was placed; "
            "give “hours”."
        )
        return [*wrong, each.wrong("hours", msg)]
    placed = find_placing_time(standing)
    for at, said in ordered:
        if said.id not in new or said.hours is None or placed is None:
            continue
        off = abs((at - placed) - said.hours * HOUR)
        if off > PLACING_TOLERANCE:
            age = (at - placed) / HOUR
            msg = (
                f"By the first temperature the concrete was placed {age:.1f} h before "
                "this one; leave “hours” out, or replace the first."
            )
            wrong.append(new[said.id].wrong("hours", msg))
    return wrong


def _check_placing_day(
    fresh: Sequence[_NewConcreteEntry],
    standing: Sequence[Said],
    written: Mapping[str, Any],
) -> list[DocumentIssue]:
    """Refuse dates that contradict the day the concrete was placed."""
    day = written.get("placed_on")
    if day is None:
        return []
    wrong = []
    placed = find_placing_time(standing)
    for each in fresh:
        said = each.said
        if said.kind == "standard_cured" and str(said.on) < day:
            msg = f"This is before {day}, the day the concrete was placed."
            wrong.append(each.wrong("on", msg))
        elif said.kind in ("temperature", "placing") and placed is not None:
            near = {str((placed + n * DATE_TOLERANCE).date()) for n in (-1, 0, 1)}
            if day not in near:
                msg = (
                    f"The concrete was placed on {day}, and by the first temperature "
                    f"about {placed:%Y-%m-%d}; one of them is wrong."
                )
                member = "placed_on" if said.kind == "placing" else "at"
                wrong.append(each.wrong(member, msg))
    return wrong
