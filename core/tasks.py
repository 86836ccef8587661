"""Background work of the house: each task calls one service."""

from smtplib import SMTPException
from typing import Any

from celery import shared_task

from core import devices, passwords, tallies

# How a letter is sent: where the mail server is down, later.
LETTER: dict[str, Any] = {
    "ignore_result": True,
    "autoretry_for": (OSError, SMTPException),
    "retry_backoff": 30,
    "max_retries": 5,
}


@shared_task(ignore_result=True)
def clear_sessions() -> None:
    """Throw away sessions that have expired."""
    devices.clear_expired()


@shared_task(ignore_result=True)
def clear_tallies() -> None:
    """Throw away counts whose time is over."""
    tallies.clear_ended()


@shared_task(**LETTER)
def send_password_link(person_id: int, site: str) -> None:
    """Write to somebody who set no password that they remember."""
    passwords.send_letter(person_id, site)


@shared_task(ignore_result=True)
def forgotten_password(address: str, site: str) -> None:
    """Have a letter written to whoever has this address, if anybody has."""
    for person_id in passwords.note_forgotten(address):
        send_password_link.delay(person_id, site)
