"""View log: who opened which page, once a person, page and day."""

from django.utils.timezone import localdate

from core.models import Person
from jobs.accounts.models import ViewLogEntry
from jobs.models import Building


def record_view(
    *, actor: Person, building: Building, kind: str, object_id: int
) -> None:
    """Record that a person opened a page of a building; one statement."""
    entry = ViewLogEntry(
        person=actor,
        building=building,
        kind=ViewLogEntry.Kind(kind),
        object_id=object_id,
        day=localdate(),
    )
    # The unique constraint drops a second view on the same day.
    ViewLogEntry.objects.bulk_create([entry], ignore_conflicts=True)
