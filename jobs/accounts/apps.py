"""Application registry entry."""

from typing import ClassVar

from django.apps import AppConfig


class AccountsConfig(AppConfig):
    """Registry entry of people, invitations and the view log."""

    name = "jobs.accounts"
    label = "accounts"
    default_auto_field = "django.db.models.BigAutoField"
    navigation: ClassVar = [("People", "accounts:list")]
    navigation_for: ClassVar = {"accounts:list": ("operations", "administrator")}
