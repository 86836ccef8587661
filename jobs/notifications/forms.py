"""What people choose about letters, and type about webhooks."""

from functools import cache
from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.conf import settings

from core.models import Person
from jobs.models import Job
from jobs.notifications.models import Announcement
from jobs.notifications.webhook_urls import MAX_URL_LENGTH


@cache
def _list_time_zones() -> list[tuple[str, str]]:
    """Every time zone of a place, by its name in the IANA database."""
    areas = ("Africa/", "America/", "Antarctica/", "Arctic/", "Asia/", "Atlantic/",
             "Australia/", "Europe/", "Indian/", "Pacific/")  # fmt: skip
    names = sorted(name for name in available_timezones() if name.startswith(areas))
    return [(name, name.replace("_", " ")) for name in ["UTC", *names]]


def _time_zone_choices() -> list[tuple[str, str]]:
    return [("", f"as the house, {settings.TIME_ZONE}"), *_list_time_zones()]


class EmailPreferencesForm(forms.Form):
    """Which letters a person wants, and when their day begins."""

    digest = forms.BooleanField(
        label="The digest in the morning, for operations managers", required=False
    )
    waiting = forms.BooleanField(
        label="A finding waits for you, for engineers", required=False
    )
    time_zone = forms.ChoiceField(
        label="Time zone of your morning", required=False, choices=_time_zone_choices
    )


class WebhookForm(forms.Form):
    """An address to be told, of which job, and of what."""

    job = forms.CharField(label="Job number", required=False, max_length=20)
    url = forms.CharField(
        label="Address",
        max_length=MAX_URL_LENGTH,
        widget=forms.TextInput(
            {"inputmode": "url", "placeholder": "https://example.org/padstone"}
        ),
    )
    events = forms.MultipleChoiceField(
        label="Tell it of",
        choices=Announcement.Kind.choices,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, actor: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.actor = actor
        if actor.is_administrator:
            self.fields["job"].help_text = "Left out: every job."
        else:
            self.fields["job"].required = True

    def clean_job(self) -> Job | None:
        """Find the job by its number, among those this person sees."""
        number = self.cleaned_data["job"].strip()
        if not number:
            return None
        job = Job.objects.visible_to(self.actor).filter(number=number).first()
        if job is None:
            msg = f"You see no job with the number {number}."
            raise forms.ValidationError(msg)
        return job
