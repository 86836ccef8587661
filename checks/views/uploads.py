"""Readings from a file: an exchange document, a JSON list, or a table."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from checks.forms.readings import UploadForm
from checks.services.readings import record_readings
from checks.services.uploads import read_upload
from checks.views.readings import seen_building
from core.models import Person
from core.permissions import Action, require
from core.requests import PersonRequest
from jobs.exchange.parse import DocumentError, Refusal
from jobs.exchange.plan_files import suffix_of
from jobs.exchange.tables.layout import FOR_PEOPLE, READINGS
from jobs.models import Building
from jobs.plans import plan_of


@require_http_methods(["GET", "POST"])
def upload(request: PersonRequest, pk: int) -> HttpResponse:
    """Record the readings of a file, or say of each why not."""
    building = seen_building(request, pk)
    require(request.user, Action.RECORD_READING, roles=building.roles_of(request.user))
    sent = request.method == "POST"
    form = UploadForm(request.POST, request.FILES) if sent else UploadForm()
    refused: list[Refusal] = []
    if form.is_valid():
        told, refused, left = _recorded(request.user, building, form)
        if told:
            messages.success(request, told)
        for each in left:
            place = f"{each.pointer}: " if each.pointer else ""
            messages.warning(request, f"{place}{each.message}")
        if not refused:
            return redirect("checks:record", building.pk)
    context = {
        "building": building,
        "form": form,
        "refused": refused,
        "columns": [
            each.heading for each in READINGS.columns if each.member not in FOR_PEOPLE
        ],
        "may_record": True,
    }
    status = 400 if refused or form.errors else 200
    return render(request, "checks/upload.html", context, status=status)


def _recorded(
    actor: Person, building: Building, form: UploadForm
) -> tuple[str, list[Refusal], tuple[Refusal, ...]]:
    """What was stored, in words; what was refused and what passed over, by places."""
    file = form.cleaned_data["file"]
    unit = plan_of(building.current_revision()).length_unit
    try:
        found = read_upload(
            file.read(),
            suffix=suffix_of(file.name),
            unit=unit,
            zone=form.cleaned_data["zone"],
        )
        recorded = record_readings(
            actor=actor,
            building=building,
            entries=found.entries,
            keep_good=form.cleaned_data["keep_good"],
        )
    except DocumentError as error:
        return "", list(error.errors), ()
    told = f"{len(recorded.stored)} recorded"
    if recorded.repeated:
        told += f", {len(recorded.repeated)} were in the record already"
    told = f"{told}." if recorded.stored or recorded.repeated else ""
    return told, found.tell(recorded.refused), found.left
