"""Application registry entry."""

from typing import ClassVar

from django.apps import AppConfig


class CoreConfig(AppConfig):
    """The core app: people, settings and base templates."""

    name = "core"
    default_auto_field = "django.db.models.BigAutoField"
    account: ClassVar = [
        ("Devices", "account"),
        ("Profile", "profile"),
        ("Password", "change-password"),
        ("Passkeys", "passkeys"),
    ]

    def ready(self) -> None:
        """Register the Celery app that all tasks are sent to."""
        from core import celery  # noqa: F401 - the import registers it
