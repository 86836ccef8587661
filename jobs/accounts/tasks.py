"""Celery tasks of the accounts.

A task imports its service when it first runs, so that a worker starts without it.
"""

from celery import shared_task

from core.tasks import EMAIL_TASK_OPTIONS


@shared_task(**EMAIL_TASK_OPTIONS)  # type: ignore[untyped-decorator]  # Celery
def send_invitation(invitation_id: str, site: str) -> None:
    """E-mail an invitation; retried while the mail server is down."""
    from jobs.accounts import invitations

    invitations.email_invitation(invitation_id, site)
