"""What the demo shows of the interface for programs: a crew's token."""

from api.services import create_crew_token
from core.models import Person

FIELD_LEAD_USERNAME = "tamsin"


def load() -> None:
    """Give the demo's field lead a token; nobody is told its text."""
    lead = Person.objects.filter(username=FIELD_LEAD_USERNAME).first()
    if lead is not None:
        create_crew_token(actor=lead, name="Crew 2, yellow phone", days=60)
