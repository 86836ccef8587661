"""The letter to an engineer: findings that wait for a decision, as in the queue."""

from checks.models import Finding
from checks.queries.alike import alike
from checks.services.together import measured_by
from core.models import Role
from jobs.notices import gathering, letters
from jobs.notices.models import Announcement, Letter

KINDS = (Announcement.Kind.FINDING_OPENED, Announcement.Kind.FINDING_RETURNED)


def tell_of_findings() -> int:
    """Gather findings that opened, or wait again, and write to the engineers.

    Returns
    -------
    int : how many letters were sent.
    """
    gathering.gather(KINDS, letter=Letter.Kind.WAITING, role=Role.ENGINEER)
    return letters.send_due(Letter.Kind.WAITING, compose)


def compose(letter: Letter) -> letters.Draft | None:
    """Say which findings wait for their reader, when it is sent.

    Not those that were decided meanwhile, nor those whose readings they took
    themselves: on these somebody else decides.
    """
    waiting = (
        Finding.objects.visible_to(letter.person)
        .to_review_by(letter.person)
        .filter(pk__in=letter.about)
        .select_related("building__job")
        .order_by("building__name", "building", "opened_at", "pk")
    )
    found = list(waiting)
    own = measured_by(letter.person, found)
    rows = alike([finding for finding in found if finding.pk not in own])
    if not rows:
        return None
    count = len(found) - len(own)
    what = "A finding waits" if count == 1 else f"{count} findings wait"
    return letters.Draft(
        subject=f"Padstone: {what} for you on {letter.job}",
        template="checks/letters/waiting",
        context={"job": letter.job, "rows": rows, "count": count},
    )
