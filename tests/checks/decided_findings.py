"""A finding ordered, read again and looked at again, as several tests do it."""

from datetime import datetime
from typing import Any

from checks.models import Decision, Finding, Reading
from checks.services.findings import decide_finding
from core.models import Person
from jobs.models import Building
from tests.checks.conftest import entry


def fresh(finding: Finding) -> Finding:
    return Finding.objects.get(pk=finding.pk)


def kinds(finding: Finding) -> list[str]:
    return [event.kind for event in finding.events.all()]


def index_of(finding: Finding, remedy: str) -> int:
    return [row["remedy"] for row in finding.remedies].index(remedy)


def order(finding: Finding, engineer: Person, **options: Any) -> Decision:
    """Order the shim of the low pad."""
    options.setdefault("disposition", "rework")
    options.setdefault("note", "Shim and grout.")
    if "choice" not in options:
        options["choice"] = index_of(finding, "shim")
    return decide_finding(actor=engineer, finding=finding, **options)


def standing_id(measured: Any) -> str:
    return str(measured.stored[-1].client_id)


def level(value: str, replaces: str, at: datetime | None = None) -> dict[str, Any]:
    members = {"at": at.isoformat()} if at else {}
    return entry("level:S2", value, supersedes=replaces, **members)


def old_reading(building: Building) -> str:
    rows = Reading.objects.filter(building=building, check_key="level:S2").current()
    return rows.get().client_id
