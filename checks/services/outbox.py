"""Outbox events of readings, findings, decisions and releases.

Services call these functions inside their own transaction. `jobs.notifications` sends
e-mail and webhooks from them afterwards; `checks.views.event_text` describes them.
"""

from collections.abc import Iterable
from datetime import date
from typing import Any

from checks.models import Decision, Evaluation, Finding, FindingEvent, Release
from core.models import Person
from jobs.models import Building
from jobs.notifications import calendar_feed
from jobs.notifications.models import Event
from jobs.notifications.outbox import EventSubject, record_events

Kind = Event.Kind
EVENT_KINDS = {
    FindingEvent.Kind.OPENED: Kind.FINDING_OPENED,
    FindingEvent.Kind.FLAGGED: Kind.FINDING_RETURNED,
    FindingEvent.Kind.CLOSED: Kind.FINDING_CLOSED,
}


def record_readings_stored(building: Building, actor: Person, count: int) -> None:
    """Record that readings were stored: one event for each batch."""
    subject = EventSubject(kind="readings", pk=building.pk, detail={"count": count})
    record_events(
        Kind.READING_STORED, building=building, actor=actor, subjects=[subject]
    )


def record_building_evaluated(evaluation: Evaluation) -> None:
    """Record an evaluation and update the calendars to its strength forecast."""
    building = evaluation.building
    subject = EventSubject(kind="result", pk=building.pk)
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
    """Record the finding events that somebody outside may have to act on."""
    subjects_by_kind: dict[Event.Kind, list[EventSubject]] = {}
    for event in events:
        kind = EVENT_KINDS.get(FindingEvent.Kind(event.kind))
        if event.code == FindingEvent.Code.STILL_OUTSIDE:
            kind = Kind.FINDING_RETURNED
        if kind is not None:
            subjects_by_kind.setdefault(kind, []).append(
                _finding_subject(event.finding)
            )
    for kind, subjects in subjects_by_kind.items():
        record_events(kind, building=building, actor=actor, subjects=subjects)


def record_finding_decided(decision: Decision) -> None:
    """Record a decision with its order and disposition."""
    finding = decision.finding
    remedy = {
        member: str(decision.remedy[member])
        for member in ("remedy", "scope")
        if decision.remedy.get(member)
    }
    record_events(
        Kind.FINDING_DECIDED,
        building=finding.building,
        actor=decision.engineer,
        subjects=[
            _finding_subject(finding, **remedy, disposition=decision.disposition)
        ],
    )


def record_release_signed(release: Release) -> None:
    """Record that a release was signed."""
    subject = EventSubject(
        kind="release",
        pk=release.pk,
        detail={"release": release.kind, "digest": release.digest},
    )
    record_events(
        Kind.RELEASE_SIGNED,
        building=release.building,
        actor=release.signed_by,
        subjects=[subject],
    )


def _finding_subject(finding: Finding, **codes: str) -> EventSubject:
    return EventSubject(
        kind="finding", pk=finding.pk, detail={"finding": finding.topic, **codes}
    )


def _describe_forecast_range(days: dict[str, Any]) -> str:
    ends = [_parse_date(days.get(end)) for end in ("earliest", "latest")]
    if ends == [None, None]:
        return ""
    first, last = (f"{end.day} {end:%b %Y}" if end else "not known" for end in ends)
    return f"Earliest {first}, latest {last}. "


def _parse_date(written: str | None) -> date | None:
    return date.fromisoformat(written) if written else None
