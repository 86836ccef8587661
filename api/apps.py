"""Application registry entry."""

from django.apps import AppConfig


class ApiConfig(AppConfig):
    """See the package docstring."""

    name = "api"
    default_auto_field = "django.db.models.BigAutoField"
