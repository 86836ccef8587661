"""Application registry entry."""

from django.apps import AppConfig


class CoreConfig(AppConfig):
    """People, settings, base templates."""

    name = "core"
    default_auto_field = "django.db.models.BigAutoField"
