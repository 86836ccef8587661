"""What the demo shows of the interface for programs: a crew's token."""

from api.services import make_token
from core.models import Person

CREW = "tamsin"


def load() -> None:
    """Give the demo's field lead a token; nobody is told its text."""
    lead = Person.objects.filter(username=CREW).first()
    if lead is not None:
        make_token(actor=lead, name="Crew 2, yellow phone", days=60)
