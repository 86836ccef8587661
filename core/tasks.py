"""Background jobs of accounts and sessions: each task calls one service.

A task imports its service when it first runs, so that a worker starts without it.
"""

from smtplib import SMTPException
from typing import Any

from celery import shared_task

# Retry later where the mail server is down.
EMAIL_TASK_OPTIONS: dict[str, Any] = {
    "ignore_result": True,
    "autoretry_for": (OSError, SMTPException),
    "retry_backoff": 30,
    "max_retries": 5,
}


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]
def delete_expired_sessions() -> None:
    """Delete sessions that have expired."""
    from core import devices

    devices.delete_expired_sessions()


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]
def delete_expired_counters() -> None:
    """Delete rate counters whose window is over."""
    from core import rate_limits

    rate_limits.delete_expired_counters()


@shared_task(**EMAIL_TASK_OPTIONS)  # type: ignore[untyped-decorator]
def email_password_link(person_id: int, site: str) -> None:
    """Send one person a link to set a new password."""
    from core import passwords

    passwords.send_password_email(person_id, site)


@shared_task(ignore_result=True)  # type: ignore[untyped-decorator]
def email_password_links(address: str, site: str) -> None:
    """Queue a password e-mail for every account with this address."""
    from core import passwords

    for person_id in passwords.record_reset_request(address):
        email_password_link.delay(person_id, site)
