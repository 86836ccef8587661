"""Celery tasks of the notifications; each calls services and is safe to repeat.

A task imports its services when it first runs, so that a worker starts without them.
"""

from celery import shared_task


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]  # Celery
def send_daily_summaries() -> None:
    """Send the daily summary to users whose local send hour has come."""
    from jobs.notifications import daily_summary, emails
    from jobs.notifications.models import Email

    daily_summary.create_due_summaries()
    emails.send_due_emails(Email.Kind.DAILY_SUMMARY, daily_summary.compose_summary)


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]  # Celery
def deliver_webhooks() -> None:
    """Send due events to webhooks, and e-mail the owners of those switched off."""
    from jobs.notifications import emails, webhook_delivery
    from jobs.notifications.models import Email

    webhook_delivery.create_deliveries()
    webhook_delivery.send_due_deliveries()
    emails.send_due_emails(
        Email.Kind.WEBHOOK_DISABLED, webhook_delivery.compose_webhook_disabled
    )


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]  # Celery
def delete_expired_notifications() -> None:
    """Delete expired notifications."""
    from jobs.notifications import retention

    retention.delete_expired()
