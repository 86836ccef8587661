"""Application registry entry."""

from django.apps import AppConfig


class ChecksConfig(AppConfig):
    """See the package docstring."""

    name = "checks"
    default_auto_field = "django.db.models.BigAutoField"
