"""Saying that something happened: one line in the service that did it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from core.models import Person
from jobs.models import Building, Stage
from jobs.notices.models import Announcement

LONGEST = 300  # characters of the words


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What an announcement is about.

    Attributes
    ----------
    what : the kind of thing, as `settings.NOTICE_LINKS` has it where it has a link.
    pk : its key.
    words : for people, in a few words.
    page : where people look at it; the building's page where left out.
    detail : for programs; no person's name in it.
    """

    what: str
    pk: int
    words: str
    page: str = ""
    detail: Mapping[str, str | int] = field(default_factory=dict)


def announce(
    kind: Announcement.Kind,
    *,
    building: Building,
    actor: Person | None,
    about: Iterable[About],
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
            about=each.what,
            about_id=each.pk,
            words=each.words[:LONGEST],
            page=each.page or building.get_absolute_url(),
            detail=dict(each.detail),
        )
        for each in about
    )


def announce_stage(stage: Stage, building: Building) -> None:
    """Tell that a building's stage stands elsewhere than before."""
    about = About(
        what="stage",
        pk=stage.pk,
        words=f"{stage.get_kind_display()}: {stage.get_state_display()}",
        detail={"stage": stage.kind, "state": stage.state},
    )
    announce(
        Announcement.Kind.STAGE_CHANGED, building=building, actor=None, about=[about]
    )
