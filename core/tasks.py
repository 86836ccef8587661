"""Background work of the house: each task calls one service."""

from smtplib import SMTPException
from typing import Any

from celery import shared_task

from core import devices, passwords, rate_limits

# How a letter is sent: where the mail server is down, later.
EMAIL_TASK_OPTIONS: dict[str, Any] = {
    "ignore_result": True,
    "autoretry_for": (OSError, SMTPException),
    "retry_backoff": 30,
    "max_retries": 5,
}


@shared_task(ignore_result=True)
def delete_expired_sessions() -> None:
    """Throw away sessions that have expired."""
    devices.delete_expired_sessions()


@shared_task(ignore_result=True)
def delete_expired_counters() -> None:
    """Throw away counts whose time is over."""
    rate_limits.delete_expired_counters()


@shared_task(**EMAIL_TASK_OPTIONS)
def email_password_link(person_id: int, site: str) -> None:
    """Write to somebody who set no password that they remember."""
    passwords.send_password_email(person_id, site)


@shared_task(ignore_result=True)
def email_password_links(address: str, site: str) -> None:
    """Have a letter written to whoever has this address, if anybody has."""
    for person_id in passwords.record_reset_request(address):
        email_password_link.delay(person_id, site)
