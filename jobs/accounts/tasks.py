"""Background work with people: each task calls one service."""

from celery import shared_task

from core.tasks import EMAIL_TASK_OPTIONS
from jobs.accounts import invitations


@shared_task(**EMAIL_TASK_OPTIONS)
def send_invitation(invitation_id: str, site: str) -> None:
    """Write to who was invited; where the mail server is down, later."""
    invitations.email_invitation(invitation_id, site)
