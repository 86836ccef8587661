"""E-mail to engineers about findings that need a decision."""

from checks.models import Finding
from checks.queries.finding_groups import group_findings
from checks.services.bulk_decisions import find_measured_by
from core.models import Role
from jobs.notifications import emails, mail_batches
from jobs.notifications.models import Email, Event

REMINDER_EVENTS = (Event.Kind.FINDING_OPENED, Event.Kind.FINDING_RETURNED)


def send_decision_reminders() -> int:
    """Send engineers the findings that opened, or need a decision again.

    Returns
    -------
    int : how many e-mails were sent.
    """
    mail_batches.batch_events(
        REMINDER_EVENTS, email_kind=Email.Kind.DECISION_REMINDER, role=Role.ENGINEER
    )
    return emails.send_due_emails(Email.Kind.DECISION_REMINDER, compose_reminder)


def compose_reminder(letter: Email) -> emails.EmailContent | None:
    """Write the reminder for one engineer at the time of sending.

    Findings decided meanwhile are left out, and those whose readings the engineer
    recorded: somebody else decides on these.
    """
    listed = (
        Finding.objects.visible_to(letter.person)
        .to_review_by(letter.person)
        .filter(pk__in=letter.about)
        .select_related("building__job")
        .order_by("building__name", "building", "opened_at", "pk")
    )
    findings = list(listed)
    own = find_measured_by(letter.person, findings)
    rows = group_findings([each for each in findings if each.pk not in own])
    if not rows:
        return None
    count = len(findings) - len(own)
    what = "A finding needs" if count == 1 else f"{count} findings need"
    return emails.EmailContent(
        subject=f"Padstone: {what} your decision on {letter.job}",
        template="checks/emails/decision_reminder",
        context={"job": letter.job, "rows": rows, "count": count},
    )
