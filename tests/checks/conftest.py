"""The shed with readings, and people who take them."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest

from checks.models import Finding
from checks.services.readings import RecordedReadings, record_readings
from core.models import Person
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.models import Building, Job
from jobs.plans.plan_cache import load_plan
from tests import factories
from tests.example_buildings import shed

Measure = Callable[..., RecordedReadings]


def entry(check: str, value: str | float, **members: Any) -> dict[str, Any]:
    """Write one reading with an id of its own."""
    return {"id": str(uuid4()), "check": check, "value": value, **members}


def as_planned(
    building: Building, *stages: str, **changed: Any
) -> list[dict[str, Any]]:
    """Write a reading of every required check, on the plan but for `changed`."""
    entries = []
    for check in build_check_sheet(load_plan(building.current_revision())):
        if not check.required or check.stage not in stages:
            continue
        value = f"{1000.0 if check.nominal is None else check.nominal:.3f} mm"
        members = {"height": "4 m"} if check.kind == "plumb" else {}
        entries.append(entry(check.key, changed.get(check.key, value), **members))
    return entries


@pytest.fixture
def building(job: Job, operations: Person) -> Building:
    """Return the job's building, with nothing measured."""
    return factories.building(job, operations, shed())


@pytest.fixture
def measure(building: Building, field_lead: Person) -> Measure:
    """Hand in readings of the building as its field lead."""

    def hand_in(*entries: dict[str, Any], **options: Any) -> RecordedReadings:
        return record_readings(
            actor=field_lead, building=building, entries=entries, **options
        )

    return hand_in


@pytest.fixture
def low_pad(building: Building, measure: Measure) -> Finding:
    """Return the finding of a pad 6 mm below the highest."""
    measure(entry("level:S1", "1000 mm"), entry("level:S2", "1006 mm"))
    return Finding.objects.get(building=building, topic="level:S2")
