"""Background work of the notices: each task calls services, and may be repeated."""

from celery import shared_task

from jobs.notifications import daily_summary, emails, retention, webhook_delivery
from jobs.notifications.models import Letter


@shared_task(ignore_result=True)
def send_daily_summaries() -> None:
    """Send the morning's digest to whoever's morning it is."""
    daily_summary.create_due_summaries()
    emails.send_due_emails(Letter.Kind.DIGEST, daily_summary.compose_summary)


@shared_task(ignore_result=True)
def deliver_webhooks() -> None:
    """Hand out what happened to webhooks, send it, and tell whose webhook failed."""
    webhook_delivery.create_deliveries()
    webhook_delivery.send_due_deliveries()
    emails.send_due_emails(
        Letter.Kind.SWITCHED_OFF, webhook_delivery.compose_webhook_disabled
    )


@shared_task(ignore_result=True)
def delete_expired_notifications() -> None:
    """Throw away what nobody is told any more."""
    retention.delete_expired()
