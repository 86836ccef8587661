"""Recording of readings: the one entry for forms, files, phones and the API."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, TypeGuard

from django.conf import settings
from django.db import transaction
from django.utils.timezone import is_naive, now

from checks.evaluation_input import (
    build_input_document,
    with_explicit_unit,
    write_entry,
)
from checks.models import Evaluation, Instrument, Reading, ReadingWithdrawal
from checks.services.evaluation import await_evaluation, queue_evaluation
from checks.services.outbox import record_readings_stored
from core.models import Person
from core.permissions import Action, require
from jobs.anchor_plan.values import Plan, ReadingValue
from jobs.evaluation_due import mark_evaluation_due
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.input.parser import parse_reading
from jobs.exchange.input.supersession import (
    Correction,
    StoredRecords,
    SupersessionIssue,
    find_dependent_issues,
    find_supersession_issues,
    group_by_depth,
)
from jobs.exchange.issues import DocumentError, DocumentIssue
from jobs.models import Building, PlanRevision
from jobs.plans.plan_cache import load_document_plan

VALUE_STEP = Decimal("0.000001")  # mm, or MPa of a strength
MAX_TEXT_LENGTHS = {  # of the columns
    "id": 64,
    "check": 120,
    "value": 60,
    "by": 60,
    "withdrawn": 500,
}
DERIVED_ID_DIGITS = 40
_NOT_STORABLE = re.compile("[\x00\ud800-\udfff]")  # PostgreSQL text takes neither


@dataclass(frozen=True, slots=True)
class RecordedReadings:
    """The outcome of one upload.

    Attributes
    ----------
    stored : new in the record, in the order given.
    repeated : in the record already with the same content; nothing was done.
    refused : the issues of the others, each with its JSON Pointer.
    change : the change of the building that an evaluation has to see.
    evaluation : one that has seen it; None where the verdict follows.
    """

    stored: list[Reading]
    repeated: list[Reading]
    refused: list[DocumentIssue]
    change: int = 0
    evaluation: Evaluation | None = None


def record_readings(
    *,
    actor: Person,
    building: Building,
    entries: Sequence[object],
    keep_good: bool = False,
) -> RecordedReadings:
    """Record readings and evaluate the building with them.

    A reading sent twice is one reading. One refused reading keeps all others out,
    unless `keep_good`. Stored readings stay stored: the evaluation runs in its own
    transaction, and where it fails the sweep tries again. Readings that come while
    the building is being evaluated share the next evaluation; it is waited for at
    most `settings.VERDICT_WAIT_S`. A repeated upload also evaluates what the first
    one left due. An upload of more than `settings.MAX_READINGS_EVALUATED_AT_ONCE` is
    evaluated by a worker.

    Parameters
    ----------
    actor : who sends the readings, and answers for them.
    building : what was measured.
    entries : `readings` of the exchange document, decoded from JSON.
    keep_good : whether to store valid readings beside refused ones.

    Raises
    ------
    django.core.exceptions.PermissionDenied
        If this person may not record readings on this job.
    """
    require(actor, Action.RECORD_READING, roles=building.roles_of(actor))
    recorded = _store_readings(actor, building, entries, keep_good=keep_good)
    if not recorded.stored and not recorded.repeated:
        return recorded
    if len(recorded.stored) > settings.MAX_READINGS_EVALUATED_AT_ONCE:
        queue_evaluation(building, recorded.change)
        building.refresh_from_db()
        return recorded
    evaluation = await_evaluation(building, recorded.change, settings.VERDICT_WAIT_S)
    return replace(recorded, evaluation=evaluation)


@transaction.atomic
def _store_readings(
    actor: Person, building: Building, entries: Sequence[object], *, keep_good: bool
) -> RecordedReadings:
    """Store an upload, without evaluating it."""
    # The lock makes a second upload wait until it can see the readings of the first.
    locked = Building.objects.select_for_update(no_key=True).get(pk=building.pk)
    batch = _ReadingBatch(building, building.current_revision(), entries)
    batch.classify()
    refused = sorted(batch.refused, key=lambda issue: _sort_position(issue.pointer))
    if refused and not keep_good:
        return RecordedReadings(
            [], batch.list_repeated(), refused, locked.change_number
        )
    stored = batch.store(actor)
    if stored:
        record_readings_stored(building, actor, len(stored))
        mark_evaluation_due(locked)
    return RecordedReadings(
        stored, batch.list_repeated(), refused, locked.change_number
    )


@dataclass(frozen=True, slots=True)
class _NewReading:
    """A reading that is new to the record.

    `position` is its index in the upload.
    """

    position: int
    entry: Mapping[str, Any]
    digest: str
    value: ReadingValue

    @property
    def correction(self) -> Correction:
        """The reading as the rules of supersession take it."""
        value = self.value
        return Correction(id=value.id, subject=value.check, supersedes=value.supersedes)


@dataclass
class _ReadingBatch:
    """One upload, sorted into new, repeated and refused entries.

    `known` holds the stored readings that the entries name, by client id.
    """

    building: Building
    revision: PlanRevision
    entries: Sequence[object]
    refused: list[DocumentIssue] = field(default_factory=list)
    repeated: list[str] = field(default_factory=list)
    new: dict[str, _NewReading] = field(default_factory=dict)
    known: dict[str, Reading] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)

    def classify(self) -> None:
        """Sort every entry; nothing is stored."""
        self.entries = _assign_ids(self.entries)
        self._load_known()
        document = build_input_document(
            self.building, self.revision, instruments=self.instruments.values()
        )
        plan, _ = load_document_plan(document)
        for position, entry in enumerate(self.entries):
            try:
                self._classify_entry(position, entry, plan)
            except DocumentError as error:
                self.refused += error.issues
        self._refuse_supersession_issues()

    def store(self, actor: Person) -> list[Reading]:
        """Store the new readings, each after the one it supersedes."""
        for group in group_by_depth([new.correction for new in self.new.values()]):
            rows = [self._build_row(actor, self.new[key]) for key in group]
            for row in Reading.objects.bulk_create(rows):
                self.known[row.client_id] = row
        # A reading that was withdrawn before it came here stays withdrawn.
        ReadingWithdrawal.objects.bulk_create(
            ReadingWithdrawal(
                reading=self.known[key],
                reason=new.value.withdrawn,
                withdrawn_by=actor,
            )
            for key, new in self.new.items()
            if new.value.withdrawn is not None
        )
        return [self.known[key] for key in self.new]

    def list_repeated(self) -> list[Reading]:
        """List the repeated readings that are stored."""
        return [self.known[key] for key in self.repeated if key in self.known]

    def _load_known(self) -> None:
        """Load the stored readings that the entries name, and the instruments."""
        ids: set[str] = set()
        for entry in self.entries:
            if isinstance(entry, dict):
                named = (entry.get("id"), entry.get("supersedes"))
                ids |= {key.strip() for key in named if _is_storable(key)}
        rows = Reading.objects.filter(
            building=self.building, client_id__in=ids
        ).select_related("withdrawal")
        self.known = {row.client_id: row for row in rows}
        instruments = Instrument.objects.filter(job=self.building.job_id)
        self.instruments = {each.name: each for each in instruments}

    def _load_replaced(self) -> dict[str, str]:
        """Load the corrections of stored readings that have one, by the old id."""
        targets = {
            self.known[target].pk
            for new in self.new.values()
            if (target := new.value.supersedes) in self.known
        }
        if not targets:
            return {}
        rows = Reading.objects.filter(building=self.building, supersedes__in=targets)
        return dict(rows.values_list("supersedes__client_id", "client_id"))

    def _classify_entry(self, position: int, entry: object, plan: Plan) -> None:
        pointer = f"/readings/{position}"
        if self._is_repeated(entry, pointer, plan):
            return
        value = parse_reading(entry, plan, pointer, now=now())
        assert isinstance(entry, dict)  # noqa: S101  # the parser refuses all others
        _require_storable_text(entry, pointer)
        _require_instrument(value, plan, pointer)
        self.new[value.id] = _NewReading(position, entry, sha256_of(entry), value)

    def _is_repeated(self, entry: object, pointer: str, plan: Plan) -> bool:
        """Recognise a reading sent again, even if it does not fit the plan any more."""
        key = entry.get("id") if isinstance(entry, dict) else None
        if not isinstance(key, str):
            return False
        earlier = self.known.get(key) or self.new.get(key)
        if earlier is None:
            return False
        if _hash_entry(entry) == earlier.digest or self._is_same(entry, earlier, plan):
            self.repeated.append(key)
            return True
        msg = (
            f"The id {key} belongs to another reading of this building already; a "
            "correction has its own id and names this one in “supersedes”."
        )
        raise DocumentError([DocumentIssue(f"{pointer}/id", msg)])

    def _is_same(
        self, entry: object, earlier: Reading | _NewReading, plan: Plan
    ) -> bool:
        """Recognise the same reading in another spelling: 4.5 in for 4.5.

        A table that was exported and comes back spells values with their unit.
        """
        own = write_entry(earlier) if isinstance(earlier, Reading) else earlier.entry
        if isinstance(earlier, Reading) and earlier.revision_id != self.revision.pk:
            own = with_explicit_unit(own, earlier.revision.document["length_unit"])
        try:
            return parse_reading(entry, plan) == parse_reading(own, plan)
        except DocumentError:
            return False

    def _refuse_supersession_issues(self) -> None:
        """Refuse impossible corrections, and those that depend on refused ones."""
        corrections = [new.correction for new in self.new.values()]
        if all(each.supersedes is None for each in corrections):
            return
        stored = StoredRecords(
            subjects={key: row.check_key for key, row in self.known.items()},
            replaced=self._load_replaced(),
        )
        issues = find_supersession_issues(corrections, stored)
        refused = {key for issue in issues for key in issue.ids}
        remaining = [each for each in corrections if each.id not in refused]
        issues += find_dependent_issues(remaining, refused, noun="reading")
        for issue in issues:
            self._refuse(issue)

    def _refuse(self, issue: SupersessionIssue) -> None:
        for key in issue.ids:
            new = self.new.pop(key)
            pointer = f"/readings/{new.position}/supersedes"
            self.refused.append(DocumentIssue(pointer, issue.message))
            self.repeated = [other for other in self.repeated if other != key]

    def _build_row(self, actor: Person, new: _NewReading) -> Reading:
        value = new.value
        return Reading(
            building=self.building,
            revision=self.revision,
            client_id=value.id,
            check_key=value.check,
            entry=new.entry,
            digest=new.digest,
            entered=str(new.entry["value"]),
            value=Decimal(value.value).quantize(VALUE_STEP),
            instrument=self.instruments.get(value.instrument or ""),
            supersedes=self.known.get(value.supersedes or ""),
            crew=value.by or "",
            taken_at=_as_aware(value.at),
            recorded_by=actor,
        )


def _assign_ids(entries: Sequence[object]) -> list[object]:
    """Strip the id of every entry, and derive one where it is missing.

    The derived id depends on the content and on the count of equal entries before it,
    so that the same upload sent twice is one upload.
    """
    counts: Counter[str] = Counter()
    named: list[object] = []
    for entry in entries:
        if isinstance(entry, dict) and isinstance(entry.get("id"), str):
            named.append({**entry, "id": entry["id"].strip()})
        elif isinstance(entry, dict) and "id" not in entry:
            content = _hash_entry(entry) or ""
            counts[content] += 1
            derived = f"{content[:DERIVED_ID_DIGITS]}-{counts[content]}"
            named.append({**entry, "id": derived})
        else:
            named.append(entry)
    return named


def _require_instrument(value: ReadingValue, plan: Plan, pointer: str) -> None:
    name = value.instrument
    if name is None or name in plan.instruments:
        return
    known = ", ".join(plan.instruments) or "none yet"
    msg = f"There is no instrument {name} on this job; there are: {known}."
    raise DocumentError([DocumentIssue(f"{pointer}/instrument", msg)])


def _require_storable_text(entry: Mapping[str, Any], pointer: str) -> None:
    """Refuse text that the columns cannot hold as typed."""
    issues = []
    for member, longest in MAX_TEXT_LENGTHS.items():
        text = str(entry.get(member, ""))
        if len(text) > longest:
            msg = f"This has {len(text)} characters; at most {longest} are allowed."
            issues.append(DocumentIssue(f"{pointer}/{member}", msg))
    issues += [
        DocumentIssue(f"{pointer}/{member}", "The character U+0000 cannot be stored.")
        for member in _list_members_with_null(entry)
    ]
    if issues:
        raise DocumentError(issues)


def _list_members_with_null(entry: Mapping[str, Any]) -> Iterable[str]:
    return [
        member
        for member, text in entry.items()
        if isinstance(text, str) and "\x00" in text
    ]


def _hash_entry(entry: object) -> str | None:
    """Hash an entry before it is validated; None where it is no JSON value."""
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
