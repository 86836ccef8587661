"""Readings from a file: an exchange document, a JSON list, or a table."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from checks.forms.readings import ReadingFileForm
from checks.services.reading_files import parse_reading_file
from checks.services.readings import record_readings
from checks.views.readings import get_visible_building
from core.models import Person
from core.permissions import Action, require
from core.requests import AuthenticatedRequest
from jobs.exchange.input.parser import DocumentError, DocumentIssue
from jobs.exchange.plan_reader import file_suffix
from jobs.exchange.tables.sheet_layout import DISPLAY_ONLY_COLUMNS, READINGS_SHEET
from jobs.models import Building
from jobs.plans.plan_cache import load_plan


@require_http_methods(["GET", "POST"])
def upload_readings(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Record the readings of a file, or say of each why not."""
    building = get_visible_building(request, pk)
    require(request.user, Action.RECORD_READING, roles=building.roles_of(request.user))
    sent = request.method == "POST"
    form = ReadingFileForm(request.POST, request.FILES) if sent else ReadingFileForm()
    refused: list[DocumentIssue] = []
    if form.is_valid():
        told, refused, left = _record_file(request.user, building, form)
        if told:
            messages.success(request, told)
        for each in left:
            place = f"{each.where}: " if each.where else ""
            messages.warning(request, f"{place}{each.message}")
        if not refused:
            return redirect("checks:reading_history", building.pk)
    context = {
        "building": building,
        "form": form,
        "refused": refused,
        "columns": [
            each.heading
            for each in READINGS_SHEET.columns
            if each.member not in DISPLAY_ONLY_COLUMNS
        ],
        "may_record": True,
    }
    status = 400 if refused or form.errors else 200
    return render(request, "checks/upload_readings.html", context, status=status)


def _record_file(
    actor: Person, building: Building, form: ReadingFileForm
) -> tuple[str, list[DocumentIssue], tuple[DocumentIssue, ...]]:
    """What was stored, in words; what was refused and what passed over, by places."""
    file = form.cleaned_data["file"]
    unit = load_plan(building.current_revision()).length_unit
    try:
        found = parse_reading_file(
            file.read(),
            suffix=file_suffix(file.name),
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
        return "", list(error.issues), ()
    told = f"{len(recorded.stored)} recorded"
    if recorded.repeated:
        told += f", {len(recorded.repeated)} were in the record already"
    told = f"{told}." if recorded.stored or recorded.repeated else ""
    return told, found.locate_refusals(recorded.refused), found.ignored
