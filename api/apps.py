"""Configuration of the API app."""

from typing import ClassVar

from django.apps import AppConfig


class ApiConfig(AppConfig):
    """The API app and its entry on the account page."""

    name = "api"
    default_auto_field = "django.db.models.BigAutoField"
    account: ClassVar = [("Crew tokens", "tokens:list")]
    demo = "api.demo.load"
