"""Deletion of old notification rows; none of them is part of the record."""

from datetime import timedelta

from django.utils.timezone import now

from jobs.notifications.models import CalendarDate, Delivery, Email, Event

RETENTION = timedelta(days=90)
# Longer: a calendar program that reads seldom must still see the cancellation.
CANCELLED_DATE_RETENTION = timedelta(days=400)


def delete_expired() -> None:
    """Delete events, deliveries, e-mails and cancelled dates past their retention."""
    before = now() - RETENTION
    Delivery.objects.filter(created_at__lt=before).delete()
    Event.objects.filter(at__lt=before).delete()
    Email.objects.filter(created_at__lt=before).delete()
    CalendarDate.objects.filter(
        cancelled=True, changed_at__lt=now() - CANCELLED_DATE_RETENTION
    ).delete()
