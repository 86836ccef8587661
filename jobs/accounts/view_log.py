"""Who opened what: noted once for each person, thing and day."""

from django.utils.timezone import localdate

from core.models import Person
from jobs.accounts.models import Sight
from jobs.models import Building


def record_view(
    *, actor: Person, building: Building, kind: str, object_id: int
) -> None:
    """Note that somebody opened something of a building; one statement."""
    sight = Sight(
        person=actor,
        building=building,
        kind=Sight.Kind(kind),
        object_id=object_id,
        day=localdate(),
    )
    Sight.objects.bulk_create([sight], ignore_conflicts=True)
