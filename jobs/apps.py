"""Application registry entry."""

from typing import ClassVar

from django.apps import AppConfig


class JobsConfig(AppConfig):
    """Registry entry of jobs, buildings and plans."""

    name = "jobs"
    default_auto_field = "django.db.models.BigAutoField"
    navigation: ClassVar = [("Jobs", "jobs:list")]
