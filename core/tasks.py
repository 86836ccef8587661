"""Background work of the house: each task calls one service."""

from celery import shared_task

from core import devices, tallies


@shared_task(ignore_result=True)
def clear_sessions() -> None:
    """Throw away sessions that have expired."""
    devices.clear_expired()


@shared_task(ignore_result=True)
def clear_tallies() -> None:
    """Throw away counts whose time is over."""
    tallies.clear_ended()
