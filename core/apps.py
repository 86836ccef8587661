"""Application registry entry."""

from typing import ClassVar

from django.apps import AppConfig


class CoreConfig(AppConfig):
    """People, settings, base templates."""

    name = "core"
    default_auto_field = "django.db.models.BigAutoField"
    account: ClassVar = [
        ("Devices", "account"),
        ("Password", "change-password"),
        ("Passkeys", "passkeys"),
    ]

    def ready(self) -> None:
        """Make the queue the one that every task is sent to."""
        from core import celery  # noqa: F401 - importing it registers the app
