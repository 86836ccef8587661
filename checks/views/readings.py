"""The sheet to print, the walk to measure, and the record of what was measured."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from checks.adapters import plan_document
from checks.entering import (
    LENGTH_UNITS,
    STRENGTH_UNITS,
    Line,
    blank_lines,
    entries_of,
    put_errors,
    typed_lines,
)
from checks.forms import CommonForm, InstrumentForm
from checks.queries.record import RecordFilter, taken
from checks.queries.record import record as readings_of
from checks.queries.walk import Section, blank_walk, suggest, walk
from checks.services.instruments import add_instrument
from checks.services.readings import Recorded, record_readings
from core.permissions import Action, may
from jobs.exchange.parse import DocumentError
from jobs.models import Building
from jobs.plans import plan_of


def seen_building(request: HttpRequest, pk: int) -> Building:
    """Fetch a building this person may see, or answer that there is none."""
    buildings = Building.objects.visible_to(request.user).select_related("job")
    building: Building = get_object_or_404(buildings, pk=pk)
    return building


@require_GET
def sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the blank sheet, to be printed and written on."""
    building = seen_building(request, pk)
    revision = building.current_revision()
    context = {
        "building": building,
        "revision": revision,
        "sections": blank_walk(plan_of(revision)),
        "expected": request.GET.get("expected") == "shown",
    }
    return render(request, "checks/sheet.html", context)


@require_http_methods(["GET", "POST"])
def measure(request: HttpRequest, pk: int) -> HttpResponse:
    """Measure one section of the walk; what was typed comes back where refused."""
    building = seen_building(request, pk)
    sections = walk(building)
    asked = request.POST.get("section") or request.GET.get("section", "")
    section = suggest(sections, asked, request.GET.get("show", ""))
    tools = list(_instruments(building))
    if request.method == "GET":
        start = {"crew": request.session.get("crew", ""), "degree": "degF"}
        common = CommonForm(instruments=tools, initial=start)
        lines = blank_lines(section)
        return _measure(request, building, sections, section, common, lines)
    common = CommonForm(request.POST, instruments=tools)
    lines = typed_lines(section, request.POST)
    if not common.is_valid():
        return _measure(request, building, sections, section, common, lines)
    request.session["crew"] = common.cleaned_data["crew"]
    filled, entries = entries_of(lines, request.POST, common.shared())
    recorded = record_readings(
        actor=request.user, building=building, entries=entries, keep_good=True
    )
    if not recorded.refused:
        _tell(request, recorded)
        return redirect(f"{request.path}?{urlencode({'section': section.key})}")
    for message in put_errors(filled, recorded.refused):
        common.add_error(None, message)
    stored = {row.client_id for row in recorded.stored + recorded.repeated}
    fresh = walk(building)
    section = suggest(fresh, section.key, "")
    kept = [line for line in filled if line.client_id not in stored]
    lines = _with(blank_lines(section), kept)
    return _measure(request, building, fresh, section, common, lines)


def _with(lines: list[Line], kept: list[Line]) -> list[Line]:
    """Put what was refused back on its lines, as it was typed."""
    by_number = {line.number: line for line in kept}
    for line in lines:
        if old := by_number.get(line.number):
            old.row = line.row
    return [by_number.get(line.number, line) for line in lines]


def _measure(
    request: HttpRequest,
    building: Building,
    sections: list[Section],
    section: Section,
    common: CommonForm,
    lines: list[Line],
) -> HttpResponse:
    refused = bool(common.errors) or any(line.errors for line in lines)
    place = sections.index(section)
    context = {
        "building": building,
        "sections": sections,
        "section": section,
        "next": sections[place + 1] if place + 1 < len(sections) else None,
        "common": common,
        "lines": lines,
        "unit": request.POST.get("unit", ""),
        "units_of_length": LENGTH_UNITS,
        "units_of_strength": STRENGTH_UNITS,
        "setup": request.POST.get("setup", "1"),
        "height": request.POST.get("height", ""),
        "instrument_form": InstrumentForm(),
        "may_record": may(Action.RECORD_READING, building.roles_of(request.user)),
    }
    status = 400 if refused else 200
    return render(request, "checks/measure.html", context, status=status)


def _instruments(building: Building) -> dict[str, Any]:
    document = plan_document(building, building.current_revision())
    found: dict[str, Any] = document.get("instruments", {})
    return found


def _tell(request: HttpRequest, recorded: Recorded) -> None:
    if recorded.stored:
        count = len(recorded.stored)
        readings = "1 reading" if count == 1 else f"{count} readings"
        messages.success(request, f"{readings} recorded.")
    elif recorded.repeated:
        messages.info(request, "These readings were recorded already.")
    else:
        messages.info(request, "Nothing was filled in.")


@require_POST
def instrument(request: HttpRequest, pk: int) -> HttpResponse:
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
        for message in errors:
            messages.error(request, message)
    section = {"section": request.POST.get("section", "")}
    back = reverse("checks:measure", args=[building.pk])
    return redirect(f"{back}?{urlencode(section)}")


@require_GET
def record(request: HttpRequest, pk: int) -> HttpResponse:
    """Show every reading: who, when, and what replaced it."""
    building = seen_building(request, pk)
    wanted = RecordFilter(
        check=request.GET.get("check", "").strip(),
        standing=request.GET.get("standing") == "only",
    )
    page = readings_of(building, wanted, request.GET.get("page"))
    context = {
        "building": building,
        "wanted": wanted,
        "page": page,
        "taken": taken(page.object_list),
        "may_record": may(Action.RECORD_READING, building.roles_of(request.user)),
    }
    return render(request, "checks/record.html", context)
