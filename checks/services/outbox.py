"""What happened to the record, announced for whoever wants to be told.

One line in the service that did it, inside its transaction; who is told, and how,
is the business of `jobs.notifications`.
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
    """Tell that readings were stored, as many at once as came at once."""
    words = f"{count} reading{'' if count == 1 else 's'}"
    about = EventSubject(
        kind="readings", pk=building.pk, description=words, detail={"count": count}
    )
    record_events(Kind.READING_STORED, building=building, actor=actor, subjects=[about])


def record_building_evaluated(evaluation: Evaluation) -> None:
    """Tell that a building was evaluated, and bring calendars up to its forecast."""
    building = evaluation.building
    about = EventSubject(kind="result", pk=building.pk, description=str(building))
    record_events(
        Kind.BUILDING_EVALUATED, building=building, actor=None, subjects=[about]
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
    """Tell what happened to findings, as far as anybody outside would act on it."""
    told: dict[Announcement.Kind, list[EventSubject]] = {}
    for event in events:
        kind = EVENT_KINDS.get(FindingEvent.Kind(event.kind))
        if event.note == FindingEvent.STOOD:
            kind = Kind.FINDING_RETURNED
        if kind is not None:
            told.setdefault(kind, []).append(_describe_finding(event.finding))
    for kind, about in told.items():
        record_events(kind, building=building, actor=actor, subjects=about)


def record_finding_decided(decision: Decision) -> None:
    """Tell what was decided, and by whom."""
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
    """Tell that a release was signed."""
    about = EventSubject(
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
        subjects=[about],
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
