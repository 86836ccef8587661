"""Background work with people: each task calls one service."""

from celery import shared_task

from core.tasks import LETTER
from jobs.people import invitations


@shared_task(**LETTER)
def send_invitation(invitation_id: str, site: str) -> None:
    """Write to who was invited; where the mail server is down, later."""
    invitations.send_letter(invitation_id, site)
