"""Application registry entry."""

from django.apps import AppConfig


class JobsConfig(AppConfig):
    """See the package docstring."""

    name = "jobs"
    default_auto_field = "django.db.models.BigAutoField"
