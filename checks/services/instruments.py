"""Instruments of a job."""

from collections.abc import Mapping

from django.core.exceptions import ValidationError
from django.db import transaction

from checks.models import Instrument
from core.models import Person
from core.permissions import Action, require
from jobs.exchange.input.instruments import parse_instrument_entry
from jobs.models import Job


@transaction.atomic
def add_instrument(
    *, actor: Person, job: Job, name: str, specification: Mapping[str, str]
) -> Instrument:
    """Add an instrument to a job; it cannot be changed afterwards.

    Raises
    ------
    jobs.exchange.issues.DocumentError
        If its specification does not fit the exchange document.
    ValidationError
        If the job has an instrument of this name.
    """
    require(actor, Action.RECORD_READING, roles=job.roles_of(actor))
    name = name.strip()
    parse_instrument_entry(name, dict(specification))
    Job.objects.select_for_update(no_key=True).get(pk=job.pk)
    if Instrument.objects.filter(job=job, name=name).exists():
        msg = (
            f"This job has an instrument {name} already, and readings refer to it. "
            "Choose another name."
        )
        raise ValidationError({"name": msg}, code="taken")
    tool = Instrument(
        job=job, name=name, specification=dict(specification), added_by=actor
    )
    tool.full_clean()
    tool.save(force_insert=True)
    return tool
