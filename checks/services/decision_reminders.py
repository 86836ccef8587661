"""The letter to an engineer: findings that wait for a decision, as in the queue."""

from checks.models import Finding
from checks.queries.finding_groups import group_findings
from checks.services.bulk_decisions import find_measured_by
from core.models import Role
from jobs.notifications import emails, mail_batches
from jobs.notifications.models import Announcement, Letter

REMINDER_EVENTS = (Announcement.Kind.FINDING_OPENED, Announcement.Kind.FINDING_RETURNED)


def send_decision_reminders() -> int:
    """Gather findings that opened, or wait again, and write to the engineers.

    Returns
    -------
    int : how many letters were sent.
    """
    mail_batches.batch_events(
        REMINDER_EVENTS, email_kind=Letter.Kind.WAITING, role=Role.ENGINEER
    )
    return emails.send_due_emails(Letter.Kind.WAITING, compose_reminder)


def compose_reminder(letter: Letter) -> emails.EmailContent | None:
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
    own = find_measured_by(letter.person, found)
    rows = group_findings([finding for finding in found if finding.pk not in own])
    if not rows:
        return None
    count = len(found) - len(own)
    what = "A finding waits" if count == 1 else f"{count} findings wait"
    return emails.EmailContent(
        subject=f"Padstone: {what} for you on {letter.job}",
        template="checks/emails/decision_reminder",
        context={"job": letter.job, "rows": rows, "count": count},
    )
