"""The sheet to print, the tapes and levels, and the record of what was measured."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_POST

from checks.forms.readings import InstrumentForm
from checks.queries.photographs import of_building, shown
from checks.queries.record import RecordFilter, photographed, taken
from checks.queries.record import record as readings_of
from checks.queries.walk import blank_walk
from checks.services.instruments import add_instrument
from checks.views.units import units_for
from core.permissions import Action, may
from core.requests import PersonRequest, asked_for
from jobs.exchange.parse import DocumentError
from jobs.models import Building
from jobs.plans import plan_of


def seen_building(request: PersonRequest, pk: int) -> Building:
    """Fetch a building this person may see, or answer that there is none."""
    buildings = Building.objects.visible_to(request.user).select_related("job")
    building: Building = get_object_or_404(buildings, pk=pk)
    return building


@require_GET
def sheet(request: PersonRequest, pk: int) -> HttpResponse:
    """Show the blank sheet, to be printed and written on."""
    building = seen_building(request, pk)
    revision = building.current_revision()
    plan = plan_of(revision)
    context = {
        "building": building,
        "revision": revision,
        "units": units_for(request, plan.length_unit),
        "sections": blank_walk(plan),
        "expected": request.GET.get("expected") == "shown",
    }
    return render(request, "checks/sheet.html", context)


@require_POST
def instrument(request: PersonRequest, pk: int) -> HttpResponse:
    """Add a tape or level to the job, and go back to the walk."""
    building = seen_building(request, pk)
    form = InstrumentForm(request.POST)
    if form.is_valid():
        try:
            tool = add_instrument(
                actor=request.user,
                job=building.job,
                name=form.cleaned_data["name"],
                specification=form.specification(),
            )
            messages.success(request, f"{tool} is on the job.")
        except DocumentError as error:
            for refusal in error.errors:
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
def record(request: PersonRequest, pk: int) -> HttpResponse:
    """Show every reading: who, when, and what replaced it."""
    building = seen_building(request, pk)
    wanted = RecordFilter(
        check=asked_for(request, "check"),
        standing=request.GET.get("standing") == "only",
    )
    page = readings_of(building, wanted, request.GET.get("page"))
    pictures = of_building(building, wanted.check, request.GET.get("photographs"))
    context = {
        "building": building,
        "wanted": wanted,
        "page": page,
        "taken": photographed(taken(page.object_list)),
        "pictures": pictures,
        "photographs": shown(pictures.object_list),
        "may_record": may(Action.RECORD_READING, building.roles_of(request.user)),
    }
    return render(request, "checks/record.html", context)
