"""The one door in: whatever its face, a reading is recorded here."""

import logging
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, TypeGuard

from django.db import transaction
from django.utils.timezone import is_naive, now

from checks.evaluation_input import build_plan_document, with_explicit_unit
from checks.models import Instrument, Reading
from checks.services.evaluation import evaluate_building
from checks.services.outbox import record_readings_stored
from core.models import Person
from core.permissions import Action, require
from jobs.anchor_plan.values import Plan
from jobs.anchor_plan.values import ReadingValue as PlanReading
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.input.parser import (
    DocumentError,
    DocumentIssue,
    parse_building,
    parse_reading,
)
from jobs.models import Building, PlanRevision

logger = logging.getLogger(__name__)

VALUE_STEP = Decimal("0.000001")  # of what the value is in: mm, MPa
_NOT_STORABLE = re.compile("[\x00\ud800-\udfff]")  # in a PostgreSQL text
MAX_TEXT_LENGTHS = {
    "id": 64,
    "check": 120,
    "value": 60,
    "by": 60,
}  # as the columns hold


@dataclass(frozen=True, slots=True)
class RecordedReadings:
    """What became of the readings that were handed in.

    Attributes
    ----------
    stored : new in the record, in the order given.
    repeated : already in the record with the same content; nothing was done.
    refused : why the others were not taken, each with its place.
    """

    stored: list[Reading]
    repeated: list[Reading]
    refused: list[DocumentIssue]


def record_readings(
    *,
    actor: Person,
    building: Building,
    entries: Sequence[object],
    keep_good: bool = False,
) -> RecordedReadings:
    """Record readings and judge the building by them.

    A reading sent twice is one reading. When one is refused none is stored, unless
    `keep_good`. What is stored stays stored: the evaluation follows in a transaction
    of its own, and where it fails the sweep tries again.

    Parameters
    ----------
    actor : who hands them in, and answers for them.
    building : what was measured.
    entries : readings as the exchange document has them, decoded from JSON.
    keep_good : whether to store what is good beside what is refused.

    Raises
    ------
    django.core.exceptions.PermissionDenied
        If this person does not record readings on this job.
    """
    require(actor, Action.RECORD_READING, roles=building.roles_of(actor))
    recorded = _store_readings(actor, building, entries, keep_good=keep_good)
    if recorded.stored:
        try:
            evaluate_building(building.pk)
        except Exception:
            # The readings are safe and still marked as due.
            logger.exception("Building %s could not be evaluated.", building.pk)
        building.refresh_from_db()
    return recorded


@transaction.atomic
def _store_readings(
    actor: Person, building: Building, entries: Sequence[object], *, keep_good: bool
) -> RecordedReadings:
    # Two uploads at once: the second waits here and then finds the first's readings.
    Building.objects.select_for_update(no_key=True).get(pk=building.pk)
    revision = building.current_revision()
    batch = _ReadingBatch(building, revision, entries)
    batch.read()
    refused = sorted(batch.refused, key=lambda refusal: _sort_position(refusal.pointer))
    repeated = [batch.known[key] for key in batch.repeated if key in batch.known]
    if refused and not keep_good:
        return RecordedReadings([], repeated, refused)
    stored = batch.save(actor)
    repeated = [batch.known[key] for key in batch.repeated]
    if stored:
        record_readings_stored(building, actor, len(stored))
        Building.objects.filter(pk=building.pk, evaluation_due_since=None).update(
            evaluation_due_since=now()
        )
    return RecordedReadings(stored, repeated, refused)


@dataclass(slots=True)
class _NewReading:
    """A reading that is new to the record."""

    place: int
    entry: Mapping[str, Any]
    digest: str
    reading: PlanReading


@dataclass
class _ReadingBatch:
    """One upload: sorts its entries into new, repeated and refused."""

    building: Building
    revision: PlanRevision
    entries: Sequence[object]
    refused: list[DocumentIssue] = field(default_factory=list)
    repeated: list[str] = field(default_factory=list)
    fresh: dict[str, _NewReading] = field(default_factory=dict)
    known: dict[str, Reading] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)

    def read(self) -> None:
        """Sort every entry; nothing is stored."""
        self._name()
        self._look_up()
        plan = parse_building(build_plan_document(self.building, self.revision)).plan
        replaced = self._replaced()
        for place, entry in enumerate(self.entries):
            try:
                self._sort(place, entry, plan)
            except DocumentError as error:
                self.refused += error.issues
        self._check_superseding(replaced)

    def save(self, actor: Person) -> list[Reading]:
        """Store what is new: those that supersede another of them after it."""
        waiting = dict(self.fresh)
        while waiting:
            wave = [
                fresh
                for fresh in waiting.values()
                if fresh.reading.supersedes not in waiting
            ]
            rows = Reading.objects.bulk_create(
                [self._row(actor, fresh) for fresh in wave]
            )
            for row in rows:
                self.known[row.client_id] = row
                del waiting[row.client_id]
        return [self.known[key] for key in self.fresh]

    def _name(self) -> None:
        """Give every entry its id, without the blanks around it.

        One that came without gets one from its content and its turn among its
        likes, so that the same upload made twice is still one.
        """
        seen: Counter[str] = Counter()
        named: list[object] = []
        for entry in self.entries:
            if isinstance(entry, dict) and isinstance(entry.get("id"), str):
                named.append({**entry, "id": entry["id"].strip()})
            elif isinstance(entry, dict) and "id" not in entry:
                content = _hash_entry(entry) or ""
                seen[content] += 1
                named.append({**entry, "id": f"{content[:40]}-{seen[content]}"})
            else:
                named.append(entry)
        self.entries = named

    def _look_up(self) -> None:
        """Fetch what the entries name: readings of the same id, and superseded."""
        named: set[str] = set()
        for entry in self.entries:
            if isinstance(entry, dict):
                ids = (entry.get("id"), entry.get("supersedes"))
                named |= {name.strip() for name in ids if _is_storable(name)}
        rows = Reading.objects.filter(building=self.building, client_id__in=named)
        self.known = {row.client_id: row for row in rows}
        tools = Instrument.objects.filter(job=self.building.job_id)
        self.instruments = {tool.name: tool for tool in tools}

    def _replaced(self) -> dict[str, str]:
        """Say which readings are superseded already, and by which."""
        return dict(
            Reading.objects.filter(
                building=self.building, supersedes__in=self.known.values()
            ).values_list("supersedes__client_id", "client_id")
        )

    def _sort(self, place: int, entry: object, plan: Plan) -> None:
        pointer = f"/readings/{place}"
        if self._is_repeated(entry, pointer, plan):
            return
        reading = parse_reading(entry, plan, pointer)
        assert isinstance(entry, dict)  # noqa: S101  # or the parser had refused it
        _require_storable_text(entry, pointer)
        self._check_instrument(reading, plan, pointer)
        self.fresh[reading.id] = _NewReading(place, entry, sha256_of(entry), reading)

    def _is_repeated(self, entry: object, pointer: str, plan: Plan) -> bool:
        """Tell a reading sent again, even one that no longer fits a revised plan."""
        key = entry.get("id") if isinstance(entry, dict) else None
        if not isinstance(key, str):
            return False
        earlier = self.known.get(key) or self.fresh.get(key)
        if earlier is None:
            return False
        if _hash_entry(entry) == earlier.digest or self._is_same(entry, earlier, plan):
            self.repeated.append(key)
            return True
        msg = (
            f"The id {key} belongs to another reading of this building already; a "
            "correction has an id of its own and names this one in `supersedes`."
        )
        raise DocumentError([DocumentIssue(f"{pointer}/id", msg)])

    def _is_same(
        self, entry: object, earlier: Reading | _NewReading, plan: Plan
    ) -> bool:
        """Tell a reading that is written otherwise: 4.5 where inches are meant, 4.5 in.

        So it is when what was exported as a table comes back.
        """
        own = earlier.entry
        if isinstance(earlier, Reading) and earlier.revision_id != self.revision.pk:
            own = with_explicit_unit(own, earlier.revision.document["length_unit"])
        try:
            return parse_reading(entry, plan) == parse_reading(own, plan)
        except DocumentError:
            return False

    def _check_instrument(self, reading: PlanReading, plan: Plan, pointer: str) -> None:
        name = reading.instrument
        if name is None or name in plan.instruments:
            return
        known = ", ".join(plan.instruments) or "none yet"
        msg = f"There is no instrument {name} on this job; there are: {known}."
        raise DocumentError([DocumentIssue(f"{pointer}/instrument", msg)])

    def _check_superseding(self, replaced: dict[str, str]) -> None:
        """Refuse what replaces something it cannot; then what hangs on that."""
        refused = True
        taken: dict[str, str] = {}
        for key, fresh in list(self.fresh.items()):
            target = fresh.reading.supersedes
            if target is None:
                continue
            reason = self._why_not(fresh, target, {**replaced, **taken})
            if reason:
                self._refuse(key, reason)
            else:
                taken[target] = key
        while refused:
            refused = False
            for key, fresh in list(self.fresh.items()):
                target = fresh.reading.supersedes
                if target and target not in self.known and target not in self.fresh:
                    self._refuse(key, f"The reading {target} it replaces is refused.")
                    refused = True
        for key in self._circular():
            self._refuse(key, "Readings cannot replace each other in a circle.")

    def _why_not(
        self, fresh: _NewReading, target: str, replaced: Mapping[str, str]
    ) -> str | None:
        if target == fresh.reading.id:
            return "A reading cannot replace itself."
        check = None
        if target in self.known:
            check = self.known[target].check_key
        elif target in self.fresh:
            check = self.fresh[target].reading.check
        if check is None:
            return (
                f"There is no reading {target} of this building to replace; leave "
                "`supersedes` out to record another reading."
            )
        if check != fresh.reading.check:
            return (
                f"The reading {target} is of {check}; a correction is of the same "
                "check."
            )
        if target in replaced:
            return (
                f"The reading {target} was replaced by {replaced[target]} already; "
                "name the one that stands."
            )
        return None

    def _circular(self) -> list[str]:
        """Name the readings that replace each other with no first one."""
        waiting = dict(self.fresh)
        while True:
            free = [
                key
                for key, fresh in waiting.items()
                if fresh.reading.supersedes not in waiting
            ]
            if not free:
                return list(waiting)
            for key in free:
                del waiting[key]

    def _refuse(self, key: str, reason: str) -> None:
        fresh = self.fresh.pop(key)
        self.refused.append(
            DocumentIssue(f"/readings/{fresh.place}/supersedes", reason)
        )
        self.repeated = [name for name in self.repeated if name != key]

    def _row(self, actor: Person, fresh: _NewReading) -> Reading:
        reading = fresh.reading
        return Reading(
            building=self.building,
            revision=self.revision,
            client_id=reading.id,
            check_key=reading.check,
            entry=fresh.entry,
            digest=fresh.digest,
            entered=str(fresh.entry["value"]),
            value=Decimal(reading.value).quantize(VALUE_STEP),
            instrument=self.instruments.get(reading.instrument or ""),
            supersedes=self.known.get(reading.supersedes or ""),
            crew=reading.by or "",
            taken_at=_as_aware(reading.at),
            recorded_by=actor,
        )


def _require_storable_text(entry: Mapping[str, Any], pointer: str) -> None:
    """Refuse text the record cannot keep as it was typed."""
    refused = []
    for member, longest in MAX_TEXT_LENGTHS.items():
        text = str(entry.get(member, ""))
        if len(text) > longest:
            msg = f"This is {len(text)} characters long; {longest} are the most."
            refused.append(DocumentIssue(f"{pointer}/{member}", msg))
    refused += [
        DocumentIssue(f"{pointer}/{member}", "The character U+0000 cannot be kept.")
        for member in _list_members_with_null(entry)
    ]
    if refused:
        raise DocumentError(refused)


def _list_members_with_null(entry: Mapping[str, Any]) -> Iterable[str]:
    return [
        member
        for member, text in entry.items()
        if isinstance(text, str) and "\x00" in text
    ]


def _hash_entry(entry: object) -> str | None:
    """Digest an entry nobody has looked at yet; None where it cannot be written."""
    try:
        return sha256_of(entry)
    except (TypeError, ValueError):
        return None


def _is_storable(name: object) -> TypeGuard[str]:
    return isinstance(name, str) and not _NOT_STORABLE.search(name)


def _as_aware(at: datetime | None) -> datetime:
    if at is None:
        return now()
    return at.replace(tzinfo=UTC) if is_naive(at) else at


def _sort_position(pointer: str) -> tuple[int, str]:
    parts = pointer.split("/")
    return (int(parts[2]) if len(parts) > 2 and parts[2].isdigit() else -1, pointer)
