"""Throwing away what was told long ago; none of it is the record."""

from datetime import timedelta

from django.utils.timezone import now

from jobs.notifications.models import Announcement, CalendarDate, Delivery, Letter

RETENTION = timedelta(days=90)
CANCELLED_DATE_RETENTION = timedelta(
    days=400
)  # calendars read seldom should learn of it too


def delete_expired() -> None:
    """Forget announcements, deliveries, letters and dates that are long over."""
    before = now() - RETENTION
    Delivery.objects.filter(made_at__lt=before).delete()
    Announcement.objects.filter(at__lt=before).delete()
    Letter.objects.filter(made_at__lt=before).delete()
    CalendarDate.objects.filter(
        cancelled=True, changed_at__lt=now() - CANCELLED_DATE_RETENTION
    ).delete()
