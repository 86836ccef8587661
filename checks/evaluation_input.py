"""Rows of the record as one exchange document: for evaluation, export and releases."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from checks.models import ConcreteEntry, Instrument, Reading
from checks.reading_times import ReadingTimes, summarise_times
from checks.recorded_rows import (
    BuildingRows,
    ParsedRow,
    RecordedRow,
    keep_rows,
    load_rows,
    load_withdrawals,
)
from jobs.anchor_plan.values import BuildingInput, Plan
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.input.concrete_entries import (
    ConcreteEntryData,
    merge_concrete_entries,
    parse_concrete_entry,
)
from jobs.exchange.input.parser import parse_reading
from jobs.exchange.issues import DocumentError
from jobs.models import Building, PlanRevision
from jobs.plans.plan_cache import load_document_plan, load_plan

Document = dict[str, Any]
LENGTH_MEMBERS = ("value", "slope_rise", "span", "sight", "height")


@dataclass(frozen=True, kw_only=True)
class EvaluationInput:
    """A building's plan and readings, as an evaluation takes them.

    Attributes
    ----------
    plan_document : padstone.building/1 with the plan in force, without readings.
    entries : its readings, in the order of recording.
    digest : SHA-256 of both, see `digest_document`.
    building : plan and readings as values.
    revision : the plan in force.
    last_reading_id : the reading stored last; None while there is none.
    excluded : check of each reading that does not hold on the plan in force, by the
        client id of the reading.
    times : when the readings were taken and recorded.
    """

    plan_document: Document
    entries: Sequence[Document]
    digest: str
    building: BuildingInput
    revision: PlanRevision
    last_reading_id: int | None
    excluded: Mapping[str, str]
    times: ReadingTimes

    @property
    def document(self) -> Document:
        """The whole exchange document."""
        return {**self.plan_document, "readings": list(self.entries)}

    @property
    def excluded_checks(self) -> frozenset[str]:
        """The checks of readings that do not hold on the plan in force."""
        return frozenset(self.excluded.values())


def digest_document(document: Document) -> str:
    """Return the digest of an exchange document that an evaluation is stored with.

    SHA-256 of the canonical JSON of a list: the SHA-256 of the document without its
    readings, then that of each reading. A reading is hashed once, when it is recorded.
    """
    plan = {name: member for name, member in document.items() if name != "readings"}
    return _combine_digests(sha256_of(plan), map(sha256_of, document["readings"]))


def _combine_digests(plan: str, readings: Iterable[str]) -> str:
    return sha256_of([plan, *readings])


def build_building_document(building: Building) -> Document:
    """Write a building as one exchange document: plan in force and readings.

    Superseded readings are included, in the order of recording. A reading of a check
    that only an earlier revision has is left out; it stays in the record.
    """
    return load_evaluation_input(building).document


def load_evaluation_input(building: Building) -> EvaluationInput:
    """Load the plan in force and every reading that holds on it."""
    revision = building.current_revision()
    kept = load_rows(building.pk)
    withdrawn = load_withdrawals(building.pk)
    document = build_input_document(building, revision, kept.rows)
    plan, plan_digest = load_document_plan(document)
    units = _length_units_by_revision(kept.rows, revision, plan)
    known = kept.parsed if kept.plan_digest == plan_digest else {}
    parsed: dict[int, ParsedRow] = {}
    excluded: dict[str, str] = {}
    for row in kept.rows:
        reason = withdrawn.get(row.pk)
        earlier = known.get(row.pk)
        if earlier is None or earlier.withdrawn != reason:
            earlier = _parse_row(row, reason, units[row.revision_id], plan, excluded)
        parsed[row.pk] = earlier
        if earlier.value is None:
            excluded[row.client_id] = row.check_key
    keep_rows(building.pk, BuildingRows(kept.rows, plan_digest, parsed))
    holding = [each for each in parsed.values() if each.value is not None]
    return EvaluationInput(
        plan_document=document,
        entries=[each.entry for each in holding],
        digest=_combine_digests(plan_digest, (each.digest for each in holding)),
        building=BuildingInput(
            plan=plan, readings=tuple(each.value for each in holding if each.value)
        ),
        revision=revision,
        last_reading_id=kept.rows[-1].pk if kept.rows else None,
        excluded=excluded,
        times=summarise_times(kept.rows, withdrawn),
    )


def _parse_row(
    row: RecordedRow,
    withdrawn: str | None,
    unit: str,
    plan: Plan,
    excluded: Mapping[str, str],
) -> ParsedRow:
    """Parse a stored reading on a plan; `unit` is that of the plan it was taken on."""
    entry = row.entry
    if withdrawn is not None:
        entry = {**entry, "withdrawn": withdrawn}
    if unit != plan.length_unit:
        entry = with_explicit_unit(entry, unit)
    # A correction of an excluded reading stands for itself.
    if entry.get("supersedes") in excluded:
        entry = {name: entry[name] for name in entry if name != "supersedes"}
    try:
        value = parse_reading(entry, plan)
    except DocumentError:
        return ParsedRow(withdrawn, entry, row.digest, None)
    digest = row.digest if entry is row.entry else sha256_of(entry)
    return ParsedRow(withdrawn, entry, digest, value)


def build_input_document(
    building: Building,
    revision: PlanRevision,
    rows: Sequence[RecordedRow] = (),
    instruments: Iterable[Instrument] | None = None,
) -> Document:
    """Write the plan with instruments and concrete entries, without readings.

    Parameters
    ----------
    building : whose plan it is.
    revision : the plan in force.
    rows : readings that may name an instrument of an earlier revision.
    instruments : the job's instruments where they are loaded already.
    """
    document = build_plan_document(building, revision, rows, instruments)
    return merge_concrete(document, concrete_entries_since(building, revision))


def fetch_concrete_entries(building: Building) -> list[ConcreteEntry]:
    """Fetch a building's current concrete entries in the order of recording."""
    entries = ConcreteEntry.objects.filter(building=building)
    return list(entries.current().order_by("pk"))


def concrete_entries_since(
    building: Building, revision: PlanRevision
) -> list[ConcreteEntryData]:
    """Parse the current concrete entries that the plan does not contain already.

    A building's own export may come back as its next plan. A test that was recorded
    before that plan was drawn, and stands on it as typed, is one test.
    """
    on_plan = Counter(revision.document.get("concrete", {}).get("standard_cured", ()))
    entries = []
    for row in fetch_concrete_entries(building):
        strength = row.entry.get("strength")
        if row.recorded_at <= revision.drawn_at and on_plan[strength] > 0:
            on_plan[strength] -= 1
            continue
        entries.append(parse_concrete_entry(row.entry))
    return entries


def merge_concrete(
    document: Document, entries: Sequence[ConcreteEntryData]
) -> Document:
    """Add concrete entries to the `concrete` member of a document."""
    on_plan = document.get("concrete", {})
    merged = merge_concrete_entries(on_plan, entries)
    return document if merged == on_plan else {**document, "concrete": merged}


def build_plan_document(
    building: Building,
    revision: PlanRevision,
    rows: Sequence[RecordedRow] = (),
    instruments: Iterable[Instrument] | None = None,
) -> Document:
    """Write the plan with the state of the steel and every instrument in use.

    On equal names the job's own instrument wins over the plan's, and that over an
    earlier revision's, which is kept only for the readings taken with it.
    """
    used = {row.entry.get("instrument") for row in rows}
    specifications: Document = {}
    older = {row.revision_id for row in rows} - {revision.pk}
    if older:
        for earlier in PlanRevision.objects.filter(pk__in=older).order_by("number"):
            specifications |= {
                name: specification
                for name, specification in earlier.document.get(
                    "instruments", {}
                ).items()
                if name in used
            }
    specifications |= revision.document.get("instruments", {})
    if instruments is None:
        instruments = Instrument.objects.filter(job=building.job_id)
    specifications |= {each.name: each.specification for each in instruments}
    document = {**revision.document, "steel": building.steel}
    if specifications:
        document["instruments"] = specifications
    return document


def _length_units_by_revision(
    rows: Sequence[RecordedRow | Reading], current: PlanRevision, plan: Plan
) -> Mapping[int, str]:
    """Load the unit of a bare number by the revision it was typed on."""
    units: dict[int, str] = {current.pk: plan.length_unit}
    older = {row.revision_id for row in rows} - set(units)
    if older:
        units |= dict(
            PlanRevision.objects.filter(pk__in=older).values_list(
                "pk", "document__length_unit"
            )
        )
    return units


def _entry_in_plan_unit(row: Reading, unit: str, plan_unit: str) -> Document:
    """Write a reading's entry so that it means the same on the plan in force.

    A bare number is in the unit of the plan it was taken on. Where a revision changed
    that unit, the number is written with its own.
    """
    entry = write_entry(row)
    return entry if unit == plan_unit else with_explicit_unit(entry, unit)


def write_entry(row: Reading) -> Document:
    """Write a reading's entry as typed, of a withdrawn one with the reason."""
    entry = dict(row.entry)
    return entry if row.withdrawn is None else {**entry, "withdrawn": row.withdrawn}


def with_explicit_unit(entry: Mapping[str, Any], unit: str) -> Document:
    """Write the bare numbers of a reading's entry with their unit."""
    written = dict(entry)
    for member in LENGTH_MEMBERS:
        number = written.get(member)
        if isinstance(number, int | float) and not isinstance(number, bool):
            written[member] = f"{Decimal(str(number)):f} {unit}"
    return written


def list_recorded_entries(building: Building) -> list[Document]:
    """List every reading of a building with who recorded it and when.

    Superseded readings and those of an earlier plan are included, in the order of
    recording.
    """
    revision = building.current_revision()
    rows = list(
        Reading.objects.filter(building=building)
        .select_related("recorded_by", "revision", "withdrawal")
        .defer("revision__document")
        .order_by("pk")
    )
    plan = load_plan(revision)
    units = _length_units_by_revision(rows, revision, plan)
    return [
        _entry_in_plan_unit(row, units[row.revision_id], plan.length_unit)
        | {
            "id": row.client_id,
            "recorded_by": str(row.recorded_by),
            "recorded_at": f"{row.recorded_at:%Y-%m-%d %H:%M} UTC",
        }
        for row in rows
    ]
