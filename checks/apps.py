"""Application registry entry."""

from typing import ClassVar

from django.apps import AppConfig


class ChecksConfig(AppConfig):
    """See the package docstring."""

    name = "checks"
    default_auto_field = "django.db.models.BigAutoField"
    navigation: ClassVar = [("Findings", "checks:findings")]
    footnotes: ClassVar = [
        ("Methods", "checks:methods"),
        ("Re-evaluation", "checks:reevaluations"),
    ]
    navigation_for: ClassVar = {"checks:reevaluations": ("operations", "administrator")}
    event_describer = "checks.views.event_text.describe_event"
    plan_reviewer = "checks.evaluation.plan_review.list_warning_messages"
