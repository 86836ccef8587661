"""A webhook, and links that need no sign-in, on a job that is there."""

from urllib.parse import urlsplit

from core.models import Person, Role
from jobs.models import Job
from jobs.notifications import calendar_feed, emails, webhooks
from jobs.notifications.models import Email, Event, Webhook

EVERYTHING = tuple(Event.Kind.values)


def operations_of(job: Job) -> Person:
    """Return a job's operations manager."""
    return job.memberships.select_related("person").get(role=Role.OPERATIONS).person


def webhook_of(job: Job, url: str = "https://nowhere.invalid/told") -> Webhook:
    """Register an address of the job that is told everything, and leads nowhere."""
    actor = operations_of(job)
    made, _ = webhooks.register_webhook(
        actor=actor, job=job, url=url, events=EVERYTHING
    )
    return made


def path_of(address: str, *, public: str = "http://localhost:8000") -> str:
    """Return the path of a public address."""
    assert address.startswith(f"{public}/")
    return urlsplit(address).path


def calendar_token(job: Job) -> str:
    """Return the secret part of the manager's calendar address."""
    path = path_of(calendar_feed.create_calendar_key(actor=operations_of(job)))
    return path.removeprefix("/calendar/").removesuffix(".ics")


def stop_token(job: Job) -> str:
    """Return the secret part of the link that stops the manager's digests."""
    choices = emails.get_preferences(operations_of(job))
    path = path_of(emails.unsubscribe_url(choices, Email.Kind.DAILY_SUMMARY))
    return path.removeprefix("/unsubscribe/").removesuffix("/")
