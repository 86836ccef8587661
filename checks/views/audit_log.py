"""The activity log of a job: who viewed and changed what, as a page and as CSV."""

import csv
from collections.abc import Iterator
from typing import Any

from django import forms
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from checks.queries.audit_log.query import (
    iterate_entries,
    list_job_people,
    load_page,
    load_people,
    map_buildings,
)
from checks.queries.audit_log.rows import AuditLogCursor, AuditLogFilter, AuditLogKind
from checks.queries.audit_log.text import describe_entries
from core.models import Person
from core.permissions import Action, require
from core.requests import AuthenticatedRequest
from jobs.models import Building, Job

CSV_HEADER = ("at", "who", "user name", "kind", "building", "what", "note")
FORMULA_PREFIXES = ("=", "+", "-", "@", "\t", "\r")  # what a spreadsheet would compute


class AuditLogFilterForm(forms.Form):
    """The filters of the activity log, in the query string."""

    person = forms.ModelChoiceField(
        Person.objects.none(), required=False, empty_label="Anyone"
    )
    kind = forms.ChoiceField(
        label="About",
        required=False,
        choices=[
            ("", "Anything"),
            *((kind.value, kind.value) for kind in AuditLogKind),
        ],
    )
    building = forms.ModelChoiceField(
        Building.objects.none(), required=False, empty_label="Any building"
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
            ("person", list_job_people(job)),
            ("building", job.buildings.order_by("name")),
        ):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)  # noqa: S101 - as declared
            field.queryset = choices

    def to_filter(self) -> AuditLogFilter:
        """Return the valid filters; invalid ones are left out."""
        self.is_valid()
        given = self.cleaned_data
        person, building = given.get("person"), given.get("building")
        return AuditLogFilter(
            person=person.pk if person else None,
            kind=given.get("kind") or "",
            building=building.pk if building else None,
            since=given.get("since"),
            until=given.get("until"),
        )


@require_GET
def audit_log(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show who viewed and changed what on a job, newest first."""
    job = _get_visible_job(request, pk)
    form = AuditLogFilterForm(request.GET, job=job)
    after = AuditLogCursor.parse(request.GET.get("after", ""))
    page = load_page(job, form.to_filter(), after)
    rows = describe_entries(
        page.entries,
        job=job,
        people=load_people(page.entries),
        buildings=map_buildings(job),
    )
    context = {
        "job": job,
        "form": form,
        "rows": rows,
        "older": str(page.after) if page.after else "",
        "begun": after is not None,
        "filtered": any(value for key, value in request.GET.items() if key != "after"),
    }
    return render(request, "checks/audit_log.html", context)


@require_GET
def audit_log_csv(request: AuthenticatedRequest, pk: int) -> StreamingHttpResponse:
    """Return the filtered activity log as CSV; times are UTC."""
    job = _get_visible_job(request, pk)
    asked = AuditLogFilterForm(request.GET, job=job).to_filter()
    name = f"{slugify(job.number) or 'job'}-activity-log.csv"
    return StreamingHttpResponse(
        _write_csv(job, asked),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


class _EchoWriter:
    """A file for the CSV writer that returns each line instead of storing it."""

    def write(self, line: str) -> str:
        return line


def _write_csv(job: Job, filters: AuditLogFilter) -> Iterator[str]:
    writer = csv.writer(_EchoWriter())
    yield writer.writerow(CSV_HEADER)
    buildings = map_buildings(job)
    for entries in iterate_entries(job, filters):
        people = load_people(entries)
        for row in describe_entries(
            entries, job=job, people=people, buildings=buildings
        ):
            cells = (
                f"{row.at:%Y-%m-%dT%H:%M:%S}Z",
                row.actor_name,
                row.person.username if row.person else "",
                str(row.kind),
                str(row.building or ""),
                row.text,
                row.note,
            )
            yield writer.writerow([_escape_formula(cell) for cell in cells])


def _escape_formula(cell: str) -> str:
    """Quote a cell that a spreadsheet would compute as a formula."""
    return f"'{cell}" if cell.startswith(FORMULA_PREFIXES) else cell


def _get_visible_job(request: AuthenticatedRequest, pk: int) -> Job:
    job = get_object_or_404(Job.objects.visible_to(request.user), pk=pk)
    require(request.user, Action.VIEW_AUDIT_LOG, roles=job.roles_of(request.user))
    return job
