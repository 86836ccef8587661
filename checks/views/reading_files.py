"""Import of readings from a file: an exchange document, a JSON list or a table."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from checks.forms.readings import ReadingFileForm
from checks.services.reading_files import parse_reading_file
from checks.services.readings import RecordedReadings, record_readings
from checks.views.readings import get_visible_building
from core.formatting import format_count
from core.models import Person
from core.permissions import Action, require
from core.requests import AuthenticatedRequest
from jobs.exchange.issues import DocumentError, DocumentIssue
from jobs.exchange.plan_reader import file_suffix
from jobs.exchange.tables.sheet_layout import DISPLAY_ONLY_COLUMNS, READINGS_SHEET
from jobs.models import Building
from jobs.plans.plan_cache import load_plan

VERDICT_FOLLOWS = " The verdict follows in a moment: load this page again."


@require_http_methods(["GET", "POST"])
def upload_readings(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Record the readings of a file, or list why they are refused."""
    building = get_visible_building(request, pk)
    require(request.user, Action.RECORD_READING, roles=building.roles_of(request.user))
    is_post = request.method == "POST"
    form = (
        ReadingFileForm(request.POST, request.FILES) if is_post else ReadingFileForm()
    )
    refused: list[DocumentIssue] = []
    if form.is_valid():
        message, refused, ignored = _record_file(request.user, building, form)
        if message:
            messages.success(request, message)
        for issue in ignored:
            location = f"{issue.where}: " if issue.pointer else ""
            messages.warning(request, f"{location}{issue.message}")
        if not refused:
            return redirect("checks:reading_history", building.pk)
    context = {
        "building": building,
        "form": form,
        "refused": refused,
        "stores_rest": form.is_bound and form.cleaned_data.get("keep_good"),
        "columns": [
            column.heading
            for column in READINGS_SHEET.columns
            if column.member not in DISPLAY_ONLY_COLUMNS
        ],
        "may_record": True,
    }
    status = 400 if refused or form.errors else 200
    return render(request, "checks/upload_readings.html", context, status=status)


def _record_file(
    actor: Person, building: Building, form: ReadingFileForm
) -> tuple[str, list[DocumentIssue], tuple[DocumentIssue, ...]]:
    """Record the readings of a file.

    Returns
    -------
    The message of success, the refused readings and the ignored parts of the file, both
    by their place in the file.
    """
    file = form.cleaned_data["file"]
    try:
        parsed = parse_reading_file(
            file.read(),
            suffix=file_suffix(file.name),
            unit=load_plan(building.current_revision()).length_unit,
            zone=form.cleaned_data["zone"],
        )
        recorded = record_readings(
            actor=actor,
            building=building,
            entries=parsed.entries,
            keep_good=form.cleaned_data["keep_good"],
        )
    except DocumentError as error:
        return "", list(error.issues), ()
    refused = parsed.locate_refusals(recorded.refused)
    return describe_recorded(recorded), refused, parsed.ignored


def describe_recorded(recorded: RecordedReadings) -> str:
    """Return how many readings were recorded; empty where the file had none."""
    stored, repeated = len(recorded.stored), len(recorded.repeated)
    if not stored and not repeated:
        return ""
    if not repeated:
        message = f"{format_count(stored, 'reading')} recorded."
    else:
        message = (
            f"{format_count(stored, 'reading')} recorded, {repeated} recorded before."
        )
    return message if recorded.evaluation else message + VERDICT_FOLLOWS
