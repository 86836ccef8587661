"""Events of the record for the outbox: one call in the service that made the change.

The event is written in the same transaction. `jobs.notifications` decides who gets it
and how.
"""

from collections.abc import Iterable
from datetime import date
from typing import Any

from checks.labels import describe_remedy, describe_topic
from checks.models import Decision, Evaluation, Finding, FindingEvent, Release
from core.models import Person
from jobs.models import Building
from jobs.notifications import calendar_feed
from jobs.notifications.models import Announcement
from jobs.notifications.outbox import EventSubject, record_events

Kind = Announcement.Kind
EVENT_KINDS = {
    FindingEvent.Kind.OPENED: Kind.FINDING_OPENED,
    FindingEvent.Kind.FLAGGED: Kind.FINDING_RETURNED,
    FindingEvent.Kind.CLOSED: Kind.FINDING_CLOSED,
}


def record_readings_stored(building: Building, actor: Person, count: int) -> None:
    """Record that readings were stored: one event for an upload."""
    description = f"{count} reading{'' if count == 1 else 's'}"
    subject = EventSubject(
        kind="readings",
        pk=building.pk,
        description=description,
        detail={"count": count},
    )
    record_events(
        Kind.READING_STORED, building=building, actor=actor, subjects=[subject]
    )


def record_building_evaluated(evaluation: Evaluation) -> None:
    """Record that a building was evaluated, and update its calendar forecast."""
    building = evaluation.building
    subject = EventSubject(kind="result", pk=building.pk, description=str(building))
    record_events(
        Kind.BUILDING_EVALUATED, building=building, actor=None, subjects=[subject]
    )
    concrete = evaluation.result.get("concrete") or {}
    forecast = concrete.get("forecast") or {}
    days = forecast.get("opens_on") or {}
    opened = concrete.get("verdict") == "within"
    calendar_feed.update_strength_forecast(
        building,
        None if opened else _parse_date(days.get("likely")),
        _describe_forecast_range(days) + forecast.get("note", ""),
    )


def record_finding_events(
    building: Building, events: Iterable[FindingEvent], actor: Person | None = None
) -> None:
    """Record the steps of findings that somebody outside would act on."""
    subjects: dict[Announcement.Kind, list[EventSubject]] = {}
    for event in events:
        kind = EVENT_KINDS.get(FindingEvent.Kind(event.kind))
        if event.code == FindingEvent.Code.STILL_OUTSIDE:
            kind = Kind.FINDING_RETURNED
        if kind is not None:
            subjects.setdefault(kind, []).append(_describe_finding(event.finding))
    for kind, listed in subjects.items():
        record_events(kind, building=building, actor=actor, subjects=listed)


def record_finding_decided(decision: Decision) -> None:
    """Record a decision."""
    finding = decision.finding
    order = describe_remedy(decision.remedy)
    order = order[:1].lower() + order[1:]
    record_events(
        Kind.FINDING_DECIDED,
        building=finding.building,
        actor=decision.engineer,
        subjects=[
            _describe_finding(
                finding, f": {order}, {decision.get_disposition_display()}"
            )
        ],
    )


def record_release_signed(release: Release) -> None:
    """Record that a release was signed."""
    subject = EventSubject(
        kind="release",
        pk=release.pk,
        description=release.get_kind_display(),
        page=release.get_absolute_url(),
        detail={"release": release.kind, "digest": release.digest},
    )
    record_events(
        Kind.RELEASE_SIGNED,
        building=release.building,
        actor=release.signed_by,
        subjects=[subject],
    )


def _describe_finding(finding: Finding, more: str = "") -> EventSubject:
    return EventSubject(
        kind="finding",
        pk=finding.pk,
        description=f"{describe_topic(finding.topic)}{more}",
        page=finding.get_absolute_url(),
        detail={"finding": finding.topic},
    )


def _describe_forecast_range(days: dict[str, Any]) -> str:
    ends = [_parse_date(days.get(end)) for end in ("earliest", "latest")]
    if ends == [None, None]:
        return ""
    first, last = (f"{end.day} {end:%b %Y}" if end else "not known" for end in ends)
    return f"Earliest {first}, latest {last}. "


def _parse_date(written: str | None) -> date | None:
    return date.fromisoformat(written) if written else None
