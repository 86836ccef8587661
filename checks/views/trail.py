"""The trail of a job: who saw and did what, as a page and as a table to keep."""

import csv
from collections.abc import Iterator
from typing import Any

from django import forms
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from checks.queries.trail import (
    buildings_on,
    every_entry,
    page_of,
    people_in,
    people_on,
)
from checks.queries.trail_sources import Cursor, Kind, TrailFilter
from checks.queries.trail_words import told
from core.models import Person
from core.permissions import Action, require
from core.requests import PersonRequest
from jobs.models import Building, Job

HEAD = ("at", "who", "user name", "kind", "building", "what", "note")
FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what a spreadsheet would compute


class TrailForm(forms.Form):
    """What the trail is asked for, in its address."""

    person = forms.ModelChoiceField(
        Person.objects.none(), required=False, empty_label="anybody"
    )
    kind = forms.ChoiceField(
        label="About",
        required=False,
        choices=[("", "anything"), *((kind.value, kind.value) for kind in Kind)],
    )
    building = forms.ModelChoiceField(
        Building.objects.none(), required=False, empty_label="any building"
    )
    since = forms.DateField(
        label="From", required=False, widget=forms.DateInput({"type": "date"})
    )
    until = forms.DateField(
        label="To", required=False, widget=forms.DateInput({"type": "date"})
    )

    def __init__(self, *args: Any, job: Job, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, choices in (
            ("person", people_on(job)),
            ("building", job.buildings.order_by("name")),
        ):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)  # noqa: S101 - as declared
            field.queryset = choices

    def asked(self) -> TrailFilter:
        """Give what can be understood of the address; the rest is left out."""
        self.is_valid()
        given = self.cleaned_data
        person, building = given.get("person"), given.get("building")
        return TrailFilter(
            person=person.pk if person else None,
            kind=given.get("kind") or "",
            building=building.pk if building else None,
            since=given.get("since"),
            until=given.get("until"),
        )


@require_GET
def trail(request: PersonRequest, pk: int) -> HttpResponse:
    """Show who saw and did what on a job, the newest first."""
    job = _seen(request, pk)
    form = TrailForm(request.GET, job=job)
    after = Cursor.read(request.GET.get("after", ""))
    page = page_of(job, form.asked(), after)
    rows = told(
        page.entries,
        job=job,
        people=people_in(page.entries),
        buildings=buildings_on(job),
    )
    context = {
        "job": job,
        "form": form,
        "rows": rows,
        "older": str(page.after) if page.after else "",
        "begun": after is not None,
        "filtered": any(value for key, value in request.GET.items() if key != "after"),
    }
    return render(request, "checks/job_trail.html", context)


@require_GET
def trail_table(request: PersonRequest, pk: int) -> StreamingHttpResponse:
    """Hand out the trail as asked, whole, as CSV; times are UTC."""
    job = _seen(request, pk)
    asked = TrailForm(request.GET, job=job).asked()
    name = f"{slugify(job.number) or 'job'}-trail.csv"
    return StreamingHttpResponse(
        _lines(job, asked),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


class _Line:
    """What the writer of a table writes to: gives back each line."""

    def write(self, line: str) -> str:
        return line


def _lines(job: Job, asked: TrailFilter) -> Iterator[str]:
    writer = csv.writer(_Line())
    yield writer.writerow(HEAD)
    buildings = buildings_on(job)
    for entries in every_entry(job, asked):
        people = people_in(entries)
        for row in told(entries, job=job, people=people, buildings=buildings):
            cells = (
                f"{row.at:%Y-%m-%dT%H:%M:%S}Z",
                row.who,
                row.person.username if row.person else "",
                str(row.kind),
                str(row.building or ""),
                row.words,
                row.note,
            )
            yield writer.writerow([_plain(cell) for cell in cells])


def _plain(cell: str) -> str:
    """Keep a spreadsheet from computing what somebody wrote in a note."""
    return f"'{cell}" if cell.startswith(FORMULA) else cell


def _seen(request: PersonRequest, pk: int) -> Job:
    job = get_object_or_404(Job.objects.visible_to(request.user), pk=pk)
    require(request.user, Action.SEE_TRAIL, roles=job.roles_of(request.user))
    return job
