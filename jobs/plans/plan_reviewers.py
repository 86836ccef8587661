"""Warnings on a plan that a higher app finds, shown before the plan is saved."""

from collections.abc import Iterator
from typing import Protocol

from django.apps import apps
from django.utils.module_loading import import_string

from jobs.anchor_plan.values import Plan


class PlanReviewer(Protocol):
    """Function that an app names in `AppConfig.plan_reviewer`."""

    def __call__(self, plan: Plan) -> tuple[str, ...]:
        """List the warnings on a plan, each a sentence."""


def list_plan_warnings(plan: Plan) -> tuple[str, ...]:
    """List what every app doubts about a plan.

    What makes a plan doubtful belongs to a higher app, which this one may not import.
    That app names its reviewer in `AppConfig.plan_reviewer`.
    """
    return tuple(_collect_warnings(plan))


def _collect_warnings(plan: Plan) -> Iterator[str]:
    for config in apps.get_app_configs():
        name = getattr(config, "plan_reviewer", "")
        if name:
            # Imported here: at start-up the modules of that app are not loaded yet.
            review: PlanReviewer = import_string(name)
            yield from review(plan)
