"""Recording of the readings that a survey file gives."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction

from checks.evaluation_input import build_plan_document
from checks.models import Reading
from checks.queries.survey_import import SurveyImport
from checks.services.instruments import add_instrument
from checks.services.readings import RecordedReadings, record_readings
from core.models import Person
from jobs.models import Building

TOTAL_STATION = "total station"


@transaction.atomic
def record_survey(
    *, actor: Person, building: Building, shot: SurveyImport
) -> RecordedReadings:
    """Record the readings of a survey, all or none.

    A new total station is added to the job's instruments. A point that an earlier file
    contained already is one reading, whatever crew and time the later file names.
    """
    entries = list(shot.surveyed.entries)
    name = entries[0].get("instrument") if entries else None
    known = build_plan_document(building, building.current_revision()).get(
        "instruments", {}
    )
    if name and name not in known:
        kind = {"kind": TOTAL_STATION}
        add_instrument(actor=actor, job=building.job, name=name, specification=kind)
    recorded = record_readings(
        actor=actor, building=building, entries=_match_recorded(building, entries)
    )
    if recorded.refused or not recorded.stored:
        transaction.set_rollback(True)
    return recorded


def _match_recorded(
    building: Building, entries: Sequence[Mapping[str, Any]]
) -> list[Mapping[str, Any]]:
    """Replace entries that are in the record already by the stored ones."""
    ids = [entry["id"] for entry in entries]
    rows = Reading.objects.filter(building=building, client_id__in=ids)
    known = {(row.client_id, row.check_key, row.entered): row.entry for row in rows}
    return [
        known.get((entry["id"], entry["check"], entry["value"]), entry)
        for entry in entries
    ]
