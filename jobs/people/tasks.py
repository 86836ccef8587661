"""Background work with people: each task calls one service."""

from smtplib import SMTPException
from typing import Any

from celery import shared_task

from jobs.people import invitations, passwords

LETTER: dict[str, Any] = {
    "ignore_result": True,
    "autoretry_for": (OSError, SMTPException),
    "retry_backoff": 30,
    "max_retries": 5,
}


@shared_task(**LETTER)
def send_invitation(invitation_id: str, site: str) -> None:
    """Write to who was invited; where the mail server is down, later."""
    invitations.send_letter(invitation_id, site)


@shared_task(**LETTER)
def send_password_link(person_id: int, site: str) -> None:
    """Write to somebody who set no password that they remember."""
    passwords.send_letter(person_id, site)
