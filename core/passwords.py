"""E-mail with a link to set a new password; the link is made when it is sent.

An administrator requests it for somebody, or a visitor at the sign-in page. Neither
the answer to a visitor nor the time it takes depends on whether an account has the
address. The link is stored nowhere.
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
MAX_EMAILS_PER_ADDRESS = 3  # in an hour
MAX_REQUESTS_PER_CLIENT = 30  # in an hour: a whole site may share one connection


def make_password_link(person: Person, site: str) -> str:
    """Build the link that sets a new password, on a site such as https://host/."""
    user_id = urlsafe_base64_encode(force_bytes(person.pk))
    token = default_token_generator.make_token(person)
    return f"{site.rstrip('/')}{reverse('set-password', args=[user_id, token])}"


def send_password_email(person_id: int, site: str) -> bool:
    """Send the link to a person with an open account; return whether it was sent."""
    person = Person.objects.filter(pk=person_id, is_active=True).first()
    if person is None or not person.email:
        return False
    context = {"person": person, "link": make_password_link(person, site)}
    message = EmailMessage(
        subject="A new password for Padstone",
        body=render_to_string("core/password_email.txt", context),
        to=[person.email],
    )
    return bool(message.send())


def count_reset_request(address: str, client: str) -> float:
    """Count a request for a link; return the time to wait, 0 if it is allowed. [s]

    Parameters
    ----------
    address : the e-mail address as typed, whether or not an account has it.
    client : network address of the request.
    """
    limits = (
        (f"forgotten at {address.lower()}", MAX_EMAILS_PER_ADDRESS),
        (f"forgotten from {client}", MAX_REQUESTS_PER_CLIENT),
    )
    hits = [
        (rate_limits.hit(subject, window_s=RESET_WINDOW_S), limit)
        for subject, limit in limits
    ]
    return max((hit.resets_in_s for hit, limit in hits if hit.count > limit), default=0)


@transaction.atomic
def record_reset_request(address: str) -> list[int]:
    """Record a request for a link; return the keys of the accounts to write to."""
    found = Person.objects.filter(email__iexact=address, is_active=True)
    people = list(found.order_by("pk")) if address else []
    for person in people:
        AccountEvent.objects.create(person=person, kind=AccountEvent.Kind.FORGOTTEN)
    return [person.pk for person in people]


def record_password_set(person: Person) -> None:
    """Record that a person set a new password by an e-mailed link."""
    AccountEvent.objects.create(
        person=person, kind=AccountEvent.Kind.PASSWORD_SET, by=person
    )
