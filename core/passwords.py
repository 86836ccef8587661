"""The letter with a link to set a new password: made when sent, stored nowhere.

An administrator has it sent, or whoever forgot theirs asks for it at the sign-in. Of
somebody who is not signed in nothing is known but the address they typed: what they
are answered does not depend on whether an account has it, nor does what is done
before they are answered.
"""

from django.contrib.auth.tokens import default_token_generator
from django.core.mail import EmailMessage
from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from core import rate_limits
from core.models import AccountEvent, Person

RESET_WINDOW_S = 3600
MAX_EMAILS_PER_ADDRESS = 3  # letters in an hour
MAX_REQUESTS_PER_CLIENT = 30  # in an hour: a whole site may share one connection


def make_password_link(person: Person, site: str) -> str:
    """Give the link that sets a new password, on a site such as https://host/."""
    whose = urlsafe_base64_encode(force_bytes(person.pk))
    token = default_token_generator.make_token(person)
    return f"{site.rstrip('/')}{reverse('set-password', args=[whose, token])}"


def send_password_email(person_id: int, site: str) -> bool:
    """Write to a person whose account is open; give whether it was sent."""
    person = Person.objects.filter(pk=person_id, is_active=True).first()
    if person is None or not person.email:
        return False
    context = {"person": person, "link": make_password_link(person, site)}
    letter = EmailMessage(
        subject="A new password for Padstone",
        body=render_to_string("core/password_email.txt", context),
        to=[person.email],
    )
    return bool(letter.send())


def count_reset_request(address: str, place: str) -> float:
    """Count that a letter is asked for; give how long to wait first, 0 if not. [s]

    Parameters
    ----------
    address : the e-mail address that was typed, whether or not anybody has it.
    place : where the request came from.
    """
    limits = (
        (f"forgotten at {address.lower()}", MAX_EMAILS_PER_ADDRESS),
        (f"forgotten from {place}", MAX_REQUESTS_PER_CLIENT),
    )
    counted = [
        (rate_limits.hit(what, window_s=RESET_WINDOW_S), most) for what, most in limits
    ]
    return max(
        (each.resets_in_s for each, most in counted if each.number > most), default=0
    )


@transaction.atomic
def record_reset_request(address: str) -> list[int]:
    """Put on record whose letter was asked for; give the accounts to write to."""
    found = Person.objects.filter(email__iexact=address, is_active=True)
    people = list(found.order_by("pk")) if address else []
    for person in people:
        AccountEvent.objects.create(person=person, kind=AccountEvent.Kind.FORGOTTEN)
    return [person.pk for person in people]


def record_password_set(person: Person) -> None:
    """Put on record that somebody set a new password by the link of a letter."""
    AccountEvent.objects.create(
        person=person, kind=AccountEvent.Kind.PASSWORD_SET, by=person
    )
