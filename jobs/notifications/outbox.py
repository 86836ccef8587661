"""Saying that something happened: one line in the service that did it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from core.models import Person
from jobs.models import Building, Stage
from jobs.notifications.models import Announcement

MAX_DESCRIPTION_LENGTH = 300  # characters of the words


@dataclass(frozen=True, slots=True, kw_only=True)
class EventSubject:
    """What an announcement is about.

    Attributes
    ----------
    what : the kind of thing, as `settings.NOTICE_LINKS` has it where it has a link.
    pk : its key.
    words : for people, in a few words.
    page : where people look at it; the building's page where left out.
    detail : for programs; no person's name in it.
    """

    kind: str
    pk: int
    description: str
    page: str = ""
    detail: Mapping[str, str | int] = field(default_factory=dict)


def record_events(
    kind: Announcement.Kind,
    *,
    building: Building,
    actor: Person | None,
    subjects: Iterable[EventSubject],
) -> None:
    """Write down that something happened, in the transaction in which it does.

    Parameters
    ----------
    kind : what happened.
    building : where.
    actor : who did it; None where it followed from an evaluation.
    about : to what; an announcement for each.
    """
    Announcement.objects.bulk_create(
        Announcement(
            kind=kind,
            job_id=building.job_id,
            building=building,
            person=actor,
            about=each.kind,
            about_id=each.pk,
            words=each.description[:MAX_DESCRIPTION_LENGTH],
            page=each.page or building.get_absolute_url(),
            detail=dict(each.detail),
        )
        for each in subjects
    )


def record_stage_change(stage: Stage, building: Building) -> None:
    """Tell that a building's stage stands elsewhere than before."""
    about = EventSubject(
        kind="stage",
        pk=stage.pk,
        description=f"{stage.get_kind_display()}: {stage.get_state_display()}",
        detail={"stage": stage.kind, "state": stage.state},
    )
    record_events(
        Announcement.Kind.STAGE_CHANGED, building=building, actor=None, subjects=[about]
    )
