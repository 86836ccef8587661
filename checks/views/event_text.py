"""Description and page address of the events that this app records."""

from django.urls import reverse

from checks.labels import describe_order, describe_topic
from core.vocabulary import DispositionKind, ReleaseKind
from jobs.notifications.event_text import EventText
from jobs.notifications.models import Event


def describe_event(event: Event) -> EventText | None:
    """Describe an event about a finding or a release; None for any other."""
    detail = event.detail
    if event.subject_kind == "release":
        path = reverse("checks:release", args=[event.subject_id])
        return EventText(ReleaseKind(detail["release"]).label, path)
    if event.subject_kind != "finding":
        return None
    description = describe_topic(detail["finding"])
    if event.kind == Event.Kind.FINDING_DECIDED:
        order = describe_order(detail)
        disposition = DispositionKind(detail["disposition"]).label
        description += f": {order[:1].lower()}{order[1:]}, {disposition}"
    return EventText(description, reverse("checks:finding", args=[event.subject_id]))
