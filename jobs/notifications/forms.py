"""Forms for e-mail preferences and webhooks."""

from functools import cache
from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.conf import settings

from core.models import Person
from jobs.models import Job
from jobs.notifications.models import Event
from jobs.notifications.webhook_urls import MAX_URL_LENGTH


@cache
def _list_time_zones() -> list[tuple[str, str]]:
    """List the IANA time zones that belong to a place."""
    areas = ("Africa/", "America/", "Antarctica/", "Arctic/", "Asia/", "Atlantic/",
             "Australia/", "Europe/", "Indian/", "Pacific/")  # fmt: skip
    names = sorted(name for name in available_timezones() if name.startswith(areas))
    return [(name, name.replace("_", " ")) for name in ["UTC", *names]]


def _time_zone_choices() -> list[tuple[str, str]]:
    return [("", f"site default, {settings.TIME_ZONE}"), *_list_time_zones()]


class EmailPreferencesForm(forms.Form):
    """Which e-mails a person wants, and the time zone of their day."""

    daily_summary = forms.BooleanField(
        label="Daily summary (operations managers)", required=False
    )
    decision_reminder = forms.BooleanField(
        label="Findings that need your decision (engineers)", required=False
    )
    time_zone = forms.ChoiceField(
        label="Time zone", required=False, choices=_time_zone_choices
    )


class WebhookForm(forms.Form):
    """Address, job and events of a new webhook."""

    job = forms.CharField(label="Job number", required=False, max_length=20)
    url = forms.CharField(
        label="Address",
        max_length=MAX_URL_LENGTH,
        widget=forms.TextInput(
            {"inputmode": "url", "placeholder": "https://example.org/padstone"}
        ),
    )
    events = forms.MultipleChoiceField(
        label="Events",
        choices=Event.Kind.choices,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, actor: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.actor = actor
        if actor.is_administrator:
            self.fields["job"].help_text = "Blank: all jobs"
        else:
            self.fields["job"].required = True

    def clean_job(self) -> Job | None:
        """Find the job by its number among those the person may see."""
        number = self.cleaned_data["job"].strip()
        if not number:
            return None
        job = Job.objects.visible_to(self.actor).filter(number=number).first()
        if job is None:
            msg = f"You have no job with the number {number}."
            raise forms.ValidationError(msg)
        return job
