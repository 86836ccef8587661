"""Application registry entry."""

from typing import ClassVar

from django.apps import AppConfig


class ApiConfig(AppConfig):
    """See the package docstring."""

    name = "api"
    default_auto_field = "django.db.models.BigAutoField"
    account: ClassVar = [("Crew tokens", "tokens:list")]
    demo = "api.demo.load"
