"""The tabs of a building's pages."""

from typing import Any

from django import template
from django.urls import reverse

from jobs.models import Building

register = template.Library()

TABS = (
    ("plan", "As built", "building"),
    ("measure", "Measure", "checks:measure"),
    ("levels", "Levels", "checks:levels"),
    ("shims", "Shims", "checks:shims"),
    ("findings", "Findings", "checks:findings"),
    ("readings", "Readings", "checks:reading_history"),
    ("concrete", "Concrete", "checks:concrete"),
    ("releases", "Releases", "checks:releases"),
)
"""Name, label and address of each tab, in their order."""


@register.inclusion_tag("checks/building_tabs.html")
def building_tabs(building: Building, current: str = "") -> dict[str, Any]:
    """Show the tabs of a building, the current one marked."""
    return {
        "building": building,
        "tabs": [
            {
                "label": label,
                "url": _get_url(building, name, route),
                "is_current": name == current,
                "undecided": building.undecided_findings if name == "findings" else 0,
            }
            for name, label, route in TABS
        ],
    }


def _get_url(building: Building, name: str, route: str) -> str:
    # The review queue is one page for all buildings, filtered by its query.
    if name == "findings":
        return f"{reverse(route)}?state=open&building={building.pk}"
    return reverse(route, args=[building.pk])
