"""Background work of the notices: each task calls services, and may be repeated."""

from celery import shared_task

from jobs.notices import delivering, digest, forgetting, letters
from jobs.notices.models import Letter


@shared_task(ignore_result=True)
def send_digests() -> None:
    """Send the morning's digest to whoever's morning it is."""
    digest.make_due()
    letters.send_due(Letter.Kind.DIGEST, digest.compose)


@shared_task(ignore_result=True)
def tell_programs() -> None:
    """Hand out what happened to webhooks, send it, and tell whose webhook failed."""
    delivering.dispatch()
    delivering.deliver_due()
    letters.send_due(Letter.Kind.SWITCHED_OFF, delivering.compose_switched_off)


@shared_task(ignore_result=True)
def forget_notices() -> None:
    """Throw away what nobody is told any more."""
    forgetting.forget_old()
