"""Readings of a survey's points, through the one door."""

from django.db import transaction

from checks.adapters import plan_document
from checks.queries.surveys import Shot
from checks.services.instruments import add_instrument
from checks.services.readings import Recorded, record_readings
from core.models import Person
from jobs.models import Building

TOTAL_STATION = "total station"


@transaction.atomic
def record_shot(*, actor: Person, building: Building, shot: Shot) -> Recorded:
    """Record what a survey says; its total station is added to the job if it is new.

    All of it is stored, or nothing.
    """
    entries = list(shot.surveyed.entries)
    name = entries[0].get("instrument") if entries else None
    known = plan_document(building, building.current_revision()).get("instruments", {})
    if name and name not in known:
        kind = {"kind": TOTAL_STATION}
        add_instrument(actor=actor, job=building.job, name=name, specification=kind)
    recorded = record_readings(actor=actor, building=building, entries=entries)
    if recorded.refused or not recorded.stored:
        transaction.set_rollback(True)
    return recorded
