"""Recording of concrete data: placing, temperatures, tests and the mixture."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

from django.db import transaction
from django.utils.timezone import now

from checks.evaluation_input import fetch_concrete_entries, merge_concrete
from checks.models import ConcreteEntry
from checks.services.decision_snapshot import serialize_person
from checks.services.evaluation import evaluate_or_leave_due
from core.models import Person
from core.permissions import Action, require
from jobs.evaluation_due import mark_evaluation_due
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.input.concrete_entries import (
    HOUR,
    ConcreteEntryData,
    find_placing_time,
    parse_concrete_entry,
    sort_temperatures,
)
from jobs.exchange.input.parser import parse_building
from jobs.exchange.input.plausibility import CLOCK_GRACE, EARLIEST_YEAR
from jobs.exchange.input.supersession import (
    Correction,
    StoredRecords,
    find_supersession_issues,
    group_by_depth,
)
from jobs.exchange.issues import DocumentError, DocumentIssue
from jobs.models import Building, PlanRevision

MAX_ENTRIES = 1000
PLACING_TOLERANCE = HOUR  # how well a crew knows the time of placing; project choice
DATE_TOLERANCE = timedelta(days=1)  # a date has no time zone


@dataclass(frozen=True, slots=True)
class RecordedConcrete:
    """The outcome of one upload of concrete entries.

    Attributes
    ----------
    stored : new in the record, in the order given.
    repeated : in the record already with the same content; nothing was done.
    refused : the issues, each with its JSON Pointer; then nothing is stored.
    """

    stored: list[ConcreteEntry]
    repeated: list[ConcreteEntry]
    refused: list[DocumentIssue]


def record_concrete(
    *, actor: Person, building: Building, entries: Sequence[object]
) -> RecordedConcrete:
    """Record data of a building's concrete, all or nothing, and evaluate with it.

    An entry sent twice is one entry. Stored entries stay stored: where the evaluation
    fails, the sweep tries again. A repeated upload also evaluates what the first one
    left due.

    Parameters
    ----------
    actor : who sends the entries, and answers for them.
    building : whose concrete it is.
    entries : as `jobs.exchange.input.concrete_entries` parses them, decoded from JSON.

    Raises
    ------
    django.core.exceptions.PermissionDenied
        If this person may not record readings on this job.
    """
    require(actor, Action.RECORD_READING, roles=building.roles_of(actor))
    recorded, was_due = _store_entries(actor, building, entries)
    if recorded.stored or (recorded.repeated and was_due):
        evaluate_or_leave_due(building)
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
) -> tuple[RecordedConcrete, bool]:
    """Store an upload; also return whether an evaluation was due before."""
    # The lock makes a second upload wait until it can see the entries of the first.
    locked = Building.objects.select_for_update(no_key=True).get(pk=building.pk)
    was_due = locked.evaluation_due_since is not None
    if len(entries) > MAX_ENTRIES:
        msg = f"Send at most {MAX_ENTRIES} entries at once, not {len(entries)}."
        return RecordedConcrete([], [], [DocumentIssue("/entries", msg)]), was_due
    batch = _ConcreteBatch(building, building.current_revision())
    batch.classify(entries)
    if batch.refused:
        return RecordedConcrete([], batch.repeated, batch.refused), was_due
    stored = batch.store(actor)
    if stored:
        mark_evaluation_due(building)
    return RecordedConcrete(stored, batch.repeated, []), was_due


@dataclass(frozen=True, slots=True)
class _NewConcreteEntry:
    """An entry that is new to the record.

    `position` is its index in the upload.
    """

    position: int
    data: ConcreteEntryData
    entry: dict[str, Any]

    @property
    def correction(self) -> Correction:
        """The entry as the rules of supersession take it."""
        data = self.data
        return Correction(id=data.id, subject=data.kind, supersedes=data.supersedes)

    def make_issue(self, member: str, message: str) -> DocumentIssue:
        """Return an issue at a member of this entry."""
        return DocumentIssue(f"/entries/{self.position}/{member}", message)


@dataclass
class _ConcreteBatch:
    """Entries sent together, sorted into new, repeated and refused.

    `known` holds every stored entry of the building by client id, `replaced` the
    correction of each stored entry that has one.
    """

    building: Building
    revision: PlanRevision
    refused: list[DocumentIssue] = field(default_factory=list)
    repeated: list[ConcreteEntry] = field(default_factory=list)
    new: dict[str, _NewConcreteEntry] = field(default_factory=dict)
    known: dict[str, ConcreteEntry] = field(default_factory=dict)
    replaced: dict[str, str] = field(default_factory=dict)

    def classify(self, entries: Sequence[object]) -> None:
        """Sort every entry; nothing is stored."""
        rows = ConcreteEntry.objects.filter(building=self.building)
        for row in rows.select_related("supersedes").order_by("pk"):
            self.known[row.client_id] = row
            if row.supersedes is not None:
                self.replaced[row.supersedes.client_id] = row.client_id
        for position, entry in enumerate(entries):
            try:
                self._classify_entry(position, entry)
            except DocumentError as error:
                self.refused += error.issues
        self._refuse_supersession_issues()
        if self.new and not self.refused:
            self.refused += self._find_inconsistencies()

    def store(self, actor: Person) -> list[ConcreteEntry]:
        """Store the new entries, each after the one it supersedes."""
        for group in group_by_depth([new.correction for new in self.new.values()]):
            for key in group:
                self.known[key] = self._create_row(actor, self.new[key])
        return [self.known[key] for key in self.new]

    def _create_row(self, actor: Person, new: _NewConcreteEntry) -> ConcreteEntry:
        data = new.data
        return ConcreteEntry.objects.create(
            building=self.building,
            client_id=data.id,
            kind=data.kind,
            entry=new.entry,
            digest=sha256_of(new.entry),
            at=data.at,
            on=data.on,
            supersedes=self.known.get(data.supersedes or ""),
            recorded_by=actor,
        )

    def _classify_entry(self, position: int, entry: object) -> None:
        data = parse_concrete_entry(entry, f"/entries/{position}", now=now())
        assert isinstance(entry, dict)  # noqa: S101  # the parser refuses all others
        new = _NewConcreteEntry(position, data, entry)
        known, earlier = self.known.get(data.id), self.new.get(data.id)
        if known is not None and known.digest == sha256_of(entry):
            self.repeated.append(known)
        elif known is not None or (earlier is not None and earlier.entry != entry):
            msg = (
                f"The id {data.id} belongs to another entry already; a correction has "
                "its own id and names this one in “supersedes”."
            )
            self.refused.append(new.make_issue("id", msg))
        elif earlier is None:
            self.new[data.id] = new

    def _refuse_supersession_issues(self) -> None:
        corrections = [new.correction for new in self.new.values()]
        stored = StoredRecords(
            subjects={key: row.kind for key, row in self.known.items()},
            replaced=self.replaced,
        )
        for issue in find_supersession_issues(corrections, stored, noun="entry"):
            for key in issue.ids:
                new = self.new.pop(key)
                self.refused.append(new.make_issue("supersedes", issue.message))

    def _find_inconsistencies(self) -> list[DocumentIssue]:
        """Find new entries that cannot be true beside everything else recorded."""
        new = list(self.new.values())
        replaced = {each.data.supersedes for each in new}
        current = [
            parse_concrete_entry(row.entry)
            for row in fetch_concrete_entries(self.building)
            if row.client_id not in replaced
        ]
        current += [each.data for each in new if each.data.id not in replaced]
        document = merge_concrete(self.revision.document, current)
        placed_on = document.get("concrete", {}).get("placed_on")
        issues = [*_check_dates(new), *_check_temperatures(new, current)]
        issues += _check_placing_day(new, current, placed_on)
        if not issues:
            try:
                parse_building(document)
            except DocumentError as error:
                issues += [
                    DocumentIssue("/entries", each.message) for each in error.issues
                ]
        return issues


def _check_dates(new: Sequence[_NewConcreteEntry]) -> Iterator[DocumentIssue]:
    """Find dates in the future, and dates too old to be true."""
    latest = now() + CLOCK_GRACE
    for each in new:
        day: date | None = each.data.on
        member = "placed_on" if each.data.kind == "placing" else "on"
        if each.data.at is not None:
            continue  # the parser knows the present time
        if day is not None and day > (latest + DATE_TOLERANCE).date():
            yield each.make_issue(member, "This day is in the future.")
        if day is not None and day.year < EARLIEST_YEAR:
            msg = f"This is before {EARLIEST_YEAR}; look for a typing error."
            yield each.make_issue(member, msg)


def _check_temperatures(
    new: Sequence[_NewConcreteEntry], current: Sequence[ConcreteEntryData]
) -> Iterator[DocumentIssue]:
    """Find temperatures that make no history since the concrete was placed."""
    ordered = sort_temperatures(current)
    new_by_id = {each.data.id: each for each in new}
    for (at, first), (next_at, second) in pairwise(ordered):
        each = new_by_id.get(second.id) or new_by_id.get(first.id)
        if at == next_at and each:
            msg = "There is a temperature of this very time; replace that one."
            yield each.make_issue("at", msg)
    if ordered and ordered[0][1].hours is None:
        each = new_by_id.get(ordered[0][1].id) or new[0]
        msg = (
            "The first temperature needs the hours since the concrete was placed; "
            "add “hours”."
        )
        yield each.make_issue("hours", msg)
        return
    placed = find_placing_time(current)
    for at, data in ordered:
        if data.id not in new_by_id or data.hours is None or placed is None:
            continue
        if abs((at - placed) - data.hours * HOUR) > PLACING_TOLERANCE:
            age = (at - placed) / HOUR
            msg = (
                f"By the first temperature the concrete was placed {age:.1f} h before "
                "this one; leave “hours” out, or replace the first."
            )
            yield new_by_id[data.id].make_issue("hours", msg)


def _check_placing_day(
    new: Sequence[_NewConcreteEntry],
    current: Sequence[ConcreteEntryData],
    placed_on: str | None,
) -> Iterator[DocumentIssue]:
    """Find dates that contradict the day of placing."""
    if placed_on is None:
        return
    placed = find_placing_time(current)
    for each in new:
        data = each.data
        if data.kind == "standard_cured" and str(data.on) < placed_on:
            msg = f"This is before {placed_on}, the day the concrete was placed."
            yield each.make_issue("on", msg)
        elif data.kind in ("temperature", "placing") and placed is not None:
            possible = {str((placed + n * DATE_TOLERANCE).date()) for n in (-1, 0, 1)}
            if placed_on not in possible:
                msg = (
                    f"The concrete was placed on {placed_on}, but by the first "
                    f"temperature about {placed:%Y-%m-%d}; one of them is wrong."
                )
                member = "placed_on" if data.kind == "placing" else "at"
                yield each.make_issue(member, msg)
