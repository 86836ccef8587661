"""Reminder e-mail to engineers: findings that need their decision."""

from checks.models import Finding
from checks.queries.finding_groups import group_findings
from checks.services.bulk_decisions import find_measured_by
from core.models import Role
from jobs.notifications import emails, mail_batches
from jobs.notifications.models import Email, Event

REMINDER_EVENTS = (Event.Kind.FINDING_OPENED, Event.Kind.FINDING_RETURNED)


def send_decision_reminders() -> int:
    """E-mail the engineers about findings that opened or need a decision again.

    Returns
    -------
    int : number of e-mails sent.
    """
    mail_batches.batch_events(
        REMINDER_EVENTS, email_kind=Email.Kind.DECISION_REMINDER, role=Role.ENGINEER
    )
    return emails.send_due_emails(Email.Kind.DECISION_REMINDER, compose_reminder)


def compose_reminder(email: Email) -> emails.EmailContent | None:
    """Compose a reminder from what still needs a decision when it is sent.

    Findings decided meanwhile are left out, and so are those whose readings the
    recipient took: somebody else must decide on them.
    """
    waiting = (
        Finding.objects.visible_to(email.person)
        .to_review_by(email.person)
        .filter(pk__in=email.subject_ids)
        .select_related("building__job")
        .order_by("building__name", "building", "opened_at", "pk")
    )
    found = list(waiting)
    own = find_measured_by(email.person, found)
    rows = group_findings([finding for finding in found if finding.pk not in own])
    if not rows:
        return None
    count = len(found) - len(own)
    what = "1 finding needs" if count == 1 else f"{count} findings need"
    return emails.EmailContent(
        subject=f"Padstone: {what} your decision on {email.job}",
        template="checks/emails/decision_reminder",
        context={"job": email.job, "rows": rows, "count": count},
    )
