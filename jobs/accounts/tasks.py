"""Celery tasks of the accounts."""

from celery import shared_task

from core.tasks import EMAIL_TASK_OPTIONS
from jobs.accounts import invitations


@shared_task(**EMAIL_TASK_OPTIONS)  # type: ignore[untyped-decorator]  # Celery
def send_invitation(invitation_id: str, site: str) -> None:
    """E-mail an invitation; retried while the mail server is down."""
    invitations.email_invitation(invitation_id, site)
