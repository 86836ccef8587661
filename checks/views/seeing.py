"""Who opened what, noted as a page is answered."""

from core.requests import PersonRequest
from jobs.models import Building
from jobs.people.models import Sight
from jobs.people.sights import note_sight

AHEAD = ("prefetch", "prerender", "preview")  # what nobody looks at yet
Kind = Sight.Kind


def saw(request: PersonRequest, building: Building, kind: Kind, object_id: int) -> None:
    """Note that whoever asks opened something; not where a browser fetches ahead."""
    purpose = request.headers.get("Sec-Purpose") or request.headers.get("Purpose", "")
    if request.method != "GET" or any(word in purpose.lower() for word in AHEAD):
        return
    note_sight(actor=request.user, building=building, kind=kind, object_id=object_id)
