"""Demo data of the API: one crew token."""

from api.services import create_crew_token
from core.models import Person

FIELD_LEAD_USERNAME = "tamsin"


def load() -> None:
    """Create a token for the demo's field lead; its text is not shown."""
    lead = Person.objects.filter(username=FIELD_LEAD_USERNAME).first()
    if lead is not None:
        create_crew_token(actor=lead, name="Crew 2, yellow phone", days=60)
