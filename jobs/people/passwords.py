"""The letter with a link to set a new password: made when sent, stored nowhere."""

from django.contrib.auth.tokens import default_token_generator
from django.core.mail import EmailMessage
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from core.models import Person


def link_of(person: Person, site: str) -> str:
    """Give the link that sets a new password, on a site such as https://host/."""
    whose = urlsafe_base64_encode(force_bytes(person.pk))
    token = default_token_generator.make_token(person)
    return f"{site.rstrip('/')}{reverse('set-password', args=[whose, token])}"


def send_letter(person_id: int, site: str) -> bool:
    """Write to a person whose account is open; give whether it was sent."""
    person = Person.objects.filter(pk=person_id, is_active=True).first()
    if person is None or not person.email:
        return False
    context = {"person": person, "link": link_of(person, site)}
    letter = EmailMessage(
        subject="A new password for Padstone",
        body=render_to_string("jobs/people/new_password.txt", context),
        to=[person.email],
    )
    return bool(letter.send())
