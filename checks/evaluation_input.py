"""Rows of the record as one exchange document: for evaluation, export and releases."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from checks.models import ConcreteEntry, Instrument, Reading
from jobs.anchor_plan.values import BuildingInput, Plan, ReadingValue
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


@dataclass(frozen=True, slots=True, kw_only=True)
class EvaluationInput:
    """A building's plan and readings, as an evaluation takes them.

    Attributes
    ----------
    document : padstone.building/1 with the plan in force and the readings.
    building : the same as values.
    revision : the plan in force.
    last_reading : the reading stored last; None while there is none.
    excluded : check of each reading that does not hold on the plan in force, by the
        client id of the reading.
    """

    document: Document
    building: BuildingInput
    revision: PlanRevision
    last_reading: Reading | None
    excluded: Mapping[str, str]

    @property
    def excluded_checks(self) -> frozenset[str]:
        """The checks of readings that do not hold on the plan in force."""
        return frozenset(self.excluded.values())


def build_building_document(building: Building) -> Document:
    """Write a building as one exchange document: plan in force and readings.

    Superseded readings are included, in the order of recording. A reading of a check
    that only an earlier revision has is left out; it stays in the record.
    """
    return load_evaluation_input(building).document


def load_evaluation_input(building: Building) -> EvaluationInput:
    """Load the plan in force and every reading that holds on it."""
    revision = building.current_revision()
    rows = list(
        Reading.objects.filter(building=building)
        .select_related("revision", "withdrawal")
        .defer("revision__document")
        .order_by("pk")
    )
    document = build_input_document(building, revision, rows)
    plan = load_document_plan(document)
    units = _length_units_by_revision(rows, revision, plan)
    entries: list[Document] = []
    readings: list[ReadingValue] = []
    excluded: dict[str, str] = {}
    for row in rows:
        entry = _entry_in_plan_unit(row, units[row.revision_id], plan.length_unit)
        # A correction of an excluded reading stands for itself.
        if entry.get("supersedes") in excluded:
            del entry["supersedes"]
        try:
            reading = parse_reading(entry, plan, f"/readings/{len(entries)}")
        except DocumentError:
            excluded[row.client_id] = row.check_key
            continue
        entries.append(entry)
        readings.append(reading)
    return EvaluationInput(
        document={**document, "readings": entries},
        building=BuildingInput(plan=plan, readings=tuple(readings)),
        revision=revision,
        last_reading=rows[-1] if rows else None,
        excluded=excluded,
    )


def build_input_document(
    building: Building,
    revision: PlanRevision,
    rows: Sequence[Reading] = (),
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
    rows: Sequence[Reading] = (),
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
    rows: Sequence[Reading], current: PlanRevision, plan: Plan
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
