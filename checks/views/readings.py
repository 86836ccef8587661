"""The blank sheet, the instruments of a job and the history of readings."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_POST

from checks.forms.readings import InstrumentForm
from checks.queries.photographs import build_photograph_rows, paginate_photographs
from checks.queries.reading_history import (
    ReadingFilter,
    attach_photographs,
    build_history_rows,
)
from checks.queries.reading_history import paginate_readings as readings_of
from checks.queries.walk import build_blank_walk
from checks.services.instruments import add_instrument
from checks.views.display_units import get_display_units
from core.permissions import Action, may
from core.requests import AuthenticatedRequest, get_query_param
from jobs.exchange.issues import DocumentError
from jobs.models import Building
from jobs.plans.plan_cache import load_plan


def get_visible_building(request: AuthenticatedRequest, pk: int) -> Building:
    """Return a building this person may see; 404 for all others."""
    buildings = Building.objects.visible_to(request.user).select_related("job")
    building: Building = get_object_or_404(buildings, pk=pk)
    return building


@require_GET
def blank_sheet(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show the blank sheet, to print and fill in by hand."""
    building = get_visible_building(request, pk)
    revision = building.current_revision()
    plan = load_plan(revision)
    context = {
        "building": building,
        "revision": revision,
        "units": get_display_units(request, plan.length_unit),
        "sections": build_blank_walk(plan),
        "expected": request.GET.get("expected") == "shown",
    }
    return render(request, "checks/blank_sheet.html", context)


@require_POST
def create_instrument(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Add an instrument to the job and return to the section of the walk."""
    building = get_visible_building(request, pk)
    form = InstrumentForm(request.POST)
    if form.is_valid():
        errors = _add_instrument(request, building, form)
    else:
        errors = [str(error) for each in form.errors.values() for error in each]
    for error in errors:
        messages.error(request, error)
    query = urlencode({"section": request.POST.get("section", "")})
    return redirect(f"{reverse('checks:measure', args=[building.pk])}?{query}")


def _add_instrument(
    request: AuthenticatedRequest, building: Building, form: InstrumentForm
) -> list[str]:
    """Add the instrument; return why it was refused."""
    try:
        instrument = add_instrument(
            actor=request.user,
            job=building.job,
            name=form.cleaned_data["name"],
            specification=form.to_specification(),
        )
    except DocumentError as error:
        return [issue.message for issue in error.issues]
    except ValidationError as error:
        return list(error.messages)
    messages.success(request, f"{instrument} added to the job.")
    return []


@require_GET
def reading_history(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show every reading, who took it, and the one that replaced it."""
    building = get_visible_building(request, pk)
    filters = ReadingFilter(
        check=get_query_param(request, "check"),
        only_current=request.GET.get("standing") == "only",
    )
    page = readings_of(building, filters, request.GET.get("page"))
    pictures = paginate_photographs(
        building, filters.check, request.GET.get("photographs")
    )
    context = {
        "building": building,
        "filters": filters,
        "page": page,
        "rows": attach_photographs(build_history_rows(page.object_list)),
        "pictures": pictures,
        "photographs": build_photograph_rows(pictures.object_list),
        "may_record": may(Action.RECORD_READING, building.roles_of(request.user)),
    }
    return render(request, "checks/reading_history.html", context)
