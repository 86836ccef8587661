"""The sheet to print, the tapes and levels, and the record of what was measured."""

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
from jobs.exchange.input.parser import DocumentError
from jobs.models import Building
from jobs.plans.plan_cache import load_plan


def get_visible_building(request: AuthenticatedRequest, pk: int) -> Building:
    """Fetch a building this person may see, or answer that there is none."""
    buildings = Building.objects.visible_to(request.user).select_related("job")
    building: Building = get_object_or_404(buildings, pk=pk)
    return building


@require_GET
def blank_sheet(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show the blank sheet, to be printed and written on."""
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
    """Add a tape or level to the job, and go back to the walk."""
    building = get_visible_building(request, pk)
    form = InstrumentForm(request.POST)
    if form.is_valid():
        try:
            tool = add_instrument(
                actor=request.user,
                job=building.job,
                name=form.cleaned_data["name"],
                specification=form.to_specification(),
            )
            messages.success(request, f"{tool} is on the job.")
        except DocumentError as error:
            for refusal in error.issues:
                messages.error(request, refusal.message)
        except ValidationError as error:
            for message in error.messages:
                messages.error(request, message)
    for errors in form.errors.values():
        for fault in errors:
            messages.error(request, str(fault))
    section = {"section": request.POST.get("section", "")}
    back = reverse("checks:measure", args=[building.pk])
    return redirect(f"{back}?{urlencode(section)}")


@require_GET
def reading_history(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show every reading: who, when, and what replaced it."""
    building = get_visible_building(request, pk)
    wanted = ReadingFilter(
        check=get_query_param(request, "check"),
        only_current=request.GET.get("standing") == "only",
    )
    page = readings_of(building, wanted, request.GET.get("page"))
    pictures = paginate_photographs(
        building, wanted.check, request.GET.get("photographs")
    )
    context = {
        "building": building,
        "wanted": wanted,
        "page": page,
        "taken": attach_photographs(build_history_rows(page.object_list)),
        "pictures": pictures,
        "photographs": build_photograph_rows(pictures.object_list),
        "may_record": may(Action.RECORD_READING, building.roles_of(request.user)),
    }
    return render(request, "checks/reading_history.html", context)
