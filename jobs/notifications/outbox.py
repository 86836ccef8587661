"""Transactional outbox: one call in the service that changes the record."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from core.models import Person
from jobs.models import Building, Stage
from jobs.notifications.models import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class EventSubject:
    """Subject of an event.

    Attributes
    ----------
    kind : a key of `settings.EVENT_LINKS` where the API has an address for it.
    pk : its primary key.
    detail : codes for webhooks and for `event_text`; never a person's name.
    """

    kind: str
    pk: int
    detail: Mapping[str, str | int] = field(default_factory=dict)


def record_events(
    kind: Event.Kind,
    *,
    building: Building,
    actor: Person | None,
    subjects: Iterable[EventSubject],
) -> None:
    """Record one event for each subject. The caller holds the transaction.

    Parameters
    ----------
    kind : what happened.
    building : where it happened.
    actor : who did it; None where it followed from an evaluation.
    subjects : what it is about.
    """
    Event.objects.bulk_create(
        Event(
            kind=kind,
            job_id=building.job_id,
            building=building,
            actor=actor,
            subject_kind=subject.kind,
            subject_id=subject.pk,
            detail=dict(subject.detail),
        )
        for subject in subjects
    )


def record_stage_change(stage: Stage, building: Building) -> None:
    """Record that the state of a stage changed."""
    subject = EventSubject(
        kind="stage", pk=stage.pk, detail={"stage": stage.kind, "state": stage.state}
    )
    record_events(
        Event.Kind.STAGE_CHANGED, building=building, actor=None, subjects=[subject]
    )
