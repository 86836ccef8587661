"""Description and page address of an event, made where it is shown."""

from dataclasses import dataclass
from typing import Protocol

from django.apps import apps
from django.utils.module_loading import import_string

from jobs.models import Stage
from jobs.notifications.models import Event


@dataclass(frozen=True, slots=True)
class EventText:
    """An event for people: a short description, and the path of its page."""

    description: str
    path: str


class EventDescriber(Protocol):
    """Function that an app names in `AppConfig.event_describer`."""

    def __call__(self, event: Event) -> EventText | None:
        """Describe an event of the app; None for any other."""


def describe_event(event: Event) -> EventText:
    """Describe an event; no query beyond its building.

    Findings and releases belong to a higher app, which this one may not import. That
    app names its describer in `AppConfig.event_describer`.
    """
    for config in apps.get_app_configs():
        name = getattr(config, "event_describer", "")
        if not name:
            continue
        # Imported here: at start-up the views of that app are not loaded yet.
        describe: EventDescriber = import_string(name)
        if text := describe(event):
            return text
    return EventText(_describe_building_event(event), event.building.get_absolute_url())


def _describe_building_event(event: Event) -> str:
    detail = event.detail
    if event.kind == Event.Kind.STAGE_CHANGED:
        stage = Stage.Kind(detail["stage"]).label
        return f"{stage}: {Stage.State(detail['state']).label}"
    if event.kind == Event.Kind.READING_STORED:
        count = detail["count"]
        return f"{count} reading{'' if count == 1 else 's'}"
    return str(event.building)
