"""Rows of the record to one exchange document, for evaluation, export and freezing."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from checks.models import ConcreteEntry, Instrument, Reading
from jobs.anchor_plan.values import BuildingInput as MeasuredBuilding
from jobs.anchor_plan.values import Plan
from jobs.anchor_plan.values import ReadingValue as PlanReading
from jobs.exchange.input.concrete_entries import ConcreteEntryData as Said
from jobs.exchange.input.concrete_entries import (
    merge_concrete_entries,
    parse_concrete_entry,
)
from jobs.exchange.input.parser import DocumentError, parse_building, parse_reading
from jobs.models import Building, PlanRevision
from jobs.plans.plan_cache import load_plan

Document = dict[str, Any]
LENGTH_MEMBERS = ("value", "slope_rise", "span", "sight", "height")


@dataclass(frozen=True, slots=True, kw_only=True)
class EvaluationInput:
    """All that is known of a building: what an evaluation starts from.

    Attributes
    ----------
    document : padstone.building/1 with the plan in force and the readings.
    measured : the same as values.
    revision : the plan in force.
    last : the newest reading stored, None while there is none.
    left_out : readings that do not hold on the plan in force, by client id: the
        check each is of.
    """

    document: Document
    building: MeasuredBuilding
    revision: PlanRevision
    last_reading: Reading | None
    excluded: Mapping[str, str]

    @property
    def excluded_checks(self) -> frozenset[str]:
        """The checks of readings that do not hold on the plan in force."""
        return frozenset(self.excluded.values())


def build_building_document(building: Building) -> Document:
    """Write a building as one exchange document: plan in force and its readings.

    Readings that stand and readings that were superseded are both in it, in the
    order they were recorded. A reading whose check an earlier revision had and the
    plan in force has not is left out; it stays in the record.
    """
    return load_evaluation_input(building).document


def load_evaluation_input(building: Building) -> EvaluationInput:
    """Gather the plan in force and every reading that holds on it."""
    revision = building.current_revision()
    rows = list(
        Reading.objects.filter(building=building)
        .select_related("revision")
        .defer("revision__document")
        .order_by("pk")
    )
    document = build_plan_document(building, revision, rows)
    document = merge_concrete(document, concrete_entries_since(building, revision))
    plan = parse_building(document).plan
    units = _length_units_by_revision(rows, revision, plan)
    entries: list[Document] = []
    readings: list[PlanReading] = []
    left_out: dict[str, str] = {}
    for row in rows:
        entry = _entry_in_plan_unit(row, units[row.revision_id], plan.length_unit)
        if entry.get("supersedes") in left_out:
            del entry["supersedes"]
        try:
            reading = parse_reading(entry, plan, f"/readings/{len(entries)}")
        except DocumentError:
            left_out[row.client_id] = row.check_key
            continue
        entries.append(entry)
        readings.append(reading)
    return EvaluationInput(
        document={**document, "readings": entries},
        building=MeasuredBuilding(plan=plan, readings=tuple(readings)),
        revision=revision,
        last_reading=rows[-1] if rows else None,
        excluded=left_out,
    )


def fetch_concrete_entries(building: Building) -> list[ConcreteEntry]:
    """Fetch what became known of a building's concrete, in the order recorded."""
    found = ConcreteEntry.objects.filter(building=building)
    return list(found.standing().order_by("pk"))


def concrete_entries_since(building: Building, revision: PlanRevision) -> list[Said]:
    """Read what became known of the concrete and is not on the plan already.

    A building's own export may come back as its next plan: a test recorded before
    that plan was drawn and written on it, as it was typed, is one test.
    """
    drawn = Counter(revision.document.get("concrete", {}).get("standard_cured", ()))
    said = []
    for row in fetch_concrete_entries(building):
        typed = row.entry.get("strength")
        if row.recorded_at <= revision.drawn_at and drawn[typed] > 0:
            drawn[typed] -= 1
            continue
        said.append(parse_concrete_entry(row.entry))
    return said


def merge_concrete(document: Document, said: Sequence[Said]) -> Document:
    """Write what became known of the concrete behind what the plan says of it."""
    own = document.get("concrete", {})
    written = merge_concrete_entries(own, said)
    return document if written == own else {**document, "concrete": written}


def build_plan_document(
    building: Building, revision: PlanRevision, rows: Sequence[Reading] = ()
) -> Document:
    """Write the plan with every instrument its readings may name.

    The job's own instruments come first, then the plan's; one that only an earlier
    revision had is kept for the readings taken with it.
    """
    used = {row.entry.get("instrument") for row in rows}
    instruments: Document = {}
    older = {row.revision_id for row in rows} - {revision.pk}
    for earlier in PlanRevision.objects.filter(pk__in=older).order_by("number"):
        instruments |= {
            name: entry
            for name, entry in earlier.document.get("instruments", {}).items()
            if name in used
        }
    instruments |= revision.document.get("instruments", {})
    instruments |= {
        tool.name: tool.specification
        for tool in Instrument.objects.filter(job=building.job_id)
    }
    document = dict(revision.document)
    if instruments:
        document["instruments"] = instruments
    return document


def _length_units_by_revision(
    rows: Sequence[Reading], current: PlanRevision, plan: Plan
) -> Mapping[int, str]:
    """Name the unit that a bare number had when it was typed, by revision."""
    units: dict[int, str] = {current.pk: plan.length_unit}
    older = {row.revision_id for row in rows} - set(units)
    units |= dict(
        PlanRevision.objects.filter(pk__in=older).values_list(
            "pk", "document__length_unit"
        )
    )
    return units


def _entry_in_plan_unit(row: Reading, unit: str, current_unit: str) -> Document:
    """Write a reading's entry so that it says the same on the plan in force.

    A bare number counts in the unit of the plan it was taken on: where a revision
    changed that unit, the number is written with its own.
    """
    return (
        dict(row.entry) if unit == current_unit else with_explicit_unit(row.entry, unit)
    )


def with_explicit_unit(entry: Mapping[str, Any], unit: str) -> Document:
    """Write a reading's bare numbers with the unit they count in."""
    written = dict(entry)
    for member in LENGTH_MEMBERS:
        number = written.get(member)
        if isinstance(number, int | float) and not isinstance(number, bool):
            written[member] = f"{Decimal(str(number)):f} {unit}"
    return written


def list_recorded_entries(building: Building) -> list[Document]:
    """Write every reading of a building's record, with who recorded it and when.

    Superseded ones and those of an earlier plan are among them, in the order they
    were recorded.
    """
    revision = building.current_revision()
    rows = list(
        Reading.objects.filter(building=building)
        .select_related("recorded_by", "revision")
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
