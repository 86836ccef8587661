"""Application registry entry."""

from typing import ClassVar

from django.apps import AppConfig


class JobsConfig(AppConfig):
    """See the package docstring."""

    name = "jobs"
    default_auto_field = "django.db.models.BigAutoField"
    navigation: ClassVar = [("Jobs", "jobs:list"), ("People", "accounts:list")]
    navigation_for: ClassVar = {"accounts:list": ("operations", "administrator")}
    account: ClassVar = [("Letters and calendar", "notifications:email_preferences")]
