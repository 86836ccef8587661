"""Application registry entry."""

from typing import ClassVar

from django.apps import AppConfig


class NotificationsConfig(AppConfig):
    """Registry entry of the notifications."""

    name = "jobs.notifications"
    label = "notifications"
    default_auto_field = "django.db.models.BigAutoField"
    account: ClassVar = [("E-mail and calendar", "notifications:email_preferences")]
