"""What happened to the record, announced for whoever wants to be told.

One line in the service that did it, inside its transaction; who is told, and how,
is the business of `jobs.notices`.
"""

from collections.abc import Iterable
from datetime import date
from typing import Any

from checks.models import Decision, Evaluation, Finding, FindingEvent, Release
from checks.wording import order_words, topic_words
from core.models import Person
from jobs.models import Building
from jobs.notices import calendar
from jobs.notices.announcing import About, announce
from jobs.notices.models import Announcement

Kind = Announcement.Kind
TOLD = {
    FindingEvent.Kind.OPENED: Kind.FINDING_OPENED,
    FindingEvent.Kind.FLAGGED: Kind.FINDING_RETURNED,
    FindingEvent.Kind.CLOSED: Kind.FINDING_CLOSED,
}


def announce_readings(building: Building, actor: Person, count: int) -> None:
    """Tell that readings were stored, as many at once as came at once."""
    words = f"{count} reading{'' if count == 1 else 's'}"
    about = About(what="readings", pk=building.pk, words=words, detail={"count": count})
    announce(Kind.READING_STORED, building=building, actor=actor, about=[about])


def announce_evaluation(evaluation: Evaluation) -> None:
    """Tell that a building was evaluated, and bring calendars up to its forecast."""
    building = evaluation.building
    about = About(what="result", pk=building.pk, words=str(building))
    announce(Kind.BUILDING_EVALUATED, building=building, actor=None, about=[about])
    concrete = evaluation.result.get("concrete") or {}
    forecast = concrete.get("forecast") or {}
    days = forecast.get("opens_on") or {}
    opened = concrete.get("verdict") == "within"
    calendar.note_gate(
        building,
        None if opened else _day(days.get("likely")),
        _between(days) + forecast.get("note", ""),
    )


def announce_events(
    building: Building, events: Iterable[FindingEvent], actor: Person | None = None
) -> None:
    """Tell what happened to findings, as far as anybody outside would act on it."""
    told: dict[Announcement.Kind, list[About]] = {}
    for event in events:
        kind = TOLD.get(FindingEvent.Kind(event.kind))
        if event.note == FindingEvent.STOOD:
            kind = Kind.FINDING_RETURNED
        if kind is not None:
            told.setdefault(kind, []).append(_finding(event.finding))
    for kind, about in told.items():
        announce(kind, building=building, actor=actor, about=about)


def announce_decision(decision: Decision) -> None:
    """Tell what was decided, and by whom."""
    finding = decision.finding
    order = order_words(decision.remedy)
    order = order[:1].lower() + order[1:]
    announce(
        Kind.FINDING_DECIDED,
        building=finding.building,
        actor=decision.engineer,
        about=[_finding(finding, f": {order}, {decision.get_disposition_display()}")],
    )


def announce_release(release: Release) -> None:
    """Tell that a release was signed."""
    about = About(
        what="release",
        pk=release.pk,
        words=release.get_kind_display(),
        page=release.get_absolute_url(),
        detail={"release": release.kind, "digest": release.digest},
    )
    announce(
        Kind.RELEASE_SIGNED,
        building=release.building,
        actor=release.signed_by,
        about=[about],
    )


def _finding(finding: Finding, more: str = "") -> About:
    return About(
        what="finding",
        pk=finding.pk,
        words=f"{topic_words(finding.topic)}{more}",
        page=finding.get_absolute_url(),
        detail={"finding": finding.topic},
    )


def _between(days: dict[str, Any]) -> str:
    ends = [_day(days.get(end)) for end in ("earliest", "latest")]
    if ends == [None, None]:
        return ""
    first, last = (f"{end.day} {end:%b %Y}" if end else "not known" for end in ends)
    return f"Earliest {first}, latest {last}. "


def _day(written: str | None) -> date | None:
    return date.fromisoformat(written) if written else None
