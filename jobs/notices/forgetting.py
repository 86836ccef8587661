"""Throwing away what was told long ago; none of it is the record."""

from datetime import timedelta

from django.utils.timezone import now

from jobs.notices.models import Announcement, CalendarDate, Delivery, Letter

KEPT = timedelta(days=90)
CANCELLED_KEPT = timedelta(days=400)  # calendars read seldom should learn of it too


def forget_old() -> None:
    """Forget announcements, deliveries, letters and dates that are long over."""
    before = now() - KEPT
    Delivery.objects.filter(made_at__lt=before).delete()
    Announcement.objects.filter(at__lt=before).delete()
    Letter.objects.filter(made_at__lt=before).delete()
    CalendarDate.objects.filter(
        cancelled=True, changed_at__lt=now() - CANCELLED_KEPT
    ).delete()
