"""The concrete of a building: what became known of it, and entering more."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods

from checks.forms.concrete import FORMS, TemperatureForm
from checks.queries.concrete import (
    has_temperature,
    initial_of,
    known_of,
    not_used,
    said_of,
)
from checks.queries.strength import strength_of
from checks.services.concrete import record_concrete
from checks.services.readings import record_readings
from checks.views.readings import seen_building
from core.permissions import Action, may, require
from core.requests import PersonRequest
from jobs.exchange.parse import Refusal
from jobs.models import Building

METRIC = ("mm", "cm", "m")
SAMPLE = "sample"
LABELS = {
    "temperature": "Temperature",
    SAMPLE: "Field-cured sample",
    "standard_cured": "Standard-cured test",
    "placing": "Day of placing",
    "expected": "Temperatures expected",
    "mixture": "Cylinders of the mixture",
}


@require_http_methods(["GET", "POST"])
def concrete(request: PersonRequest, pk: int) -> HttpResponse:
    """Show what is known of the concrete, and record what is typed."""
    building = seen_building(request, pk)
    given = request.POST if request.method == "POST" else request.GET
    start = initial_of(building, given.get("supersedes", ""))
    asked = start.get("kind") or given.get("add", "")
    add = asked if asked in FORMS else next(iter(FORMS))
    if request.method == "GET":
        form = _form(building, add, start, initial=_units(building) | start)
        return _shown(request, building, add, form, start)
    require(request.user, Action.RECORD_READING, roles=building.roles_of(request.user))
    form = _form(building, add, start, data=request.POST)
    if form.is_valid():
        refused = _record(request, building, add, form.entry())
        if not refused:
            messages.success(request, f"{LABELS[add]} recorded.")
            return redirect(f"{request.path}?{urlencode({'add': add})}")
        form.put(refused)
    return _shown(request, building, add, form, start)


def _form(building: Building, add: str, start: dict[str, Any], **given: Any) -> Any:
    """Make the form; that of the first temperature asks for the concrete's age."""
    form = FORMS[add](**given)
    if isinstance(form, TemperatureForm) and (
        "hours" in start or not has_temperature(building)
    ):
        form.ask_age()
    return form


def _record(
    request: PersonRequest, building: Building, add: str, entry: dict[str, Any]
) -> list[Refusal]:
    """Hand it to the record's door for it; give back why it was refused."""
    who = request.user
    if add == SAMPLE:
        return record_readings(actor=who, building=building, entries=[entry]).refused
    return record_concrete(actor=who, building=building, entries=[entry]).refused


def _units(building: Building) -> dict[str, str]:
    """Offer the degrees and the pressure that go with the plan's length unit."""
    unit = building.current_revision().document.get("length_unit")
    metric = unit in METRIC
    return {
        "degree": "degC" if metric else "degF",
        "pressure": "MPa" if metric else "psi",
    }


def _shown(
    request: PersonRequest, building: Building, add: str, form: Any, start: Any
) -> HttpResponse:
    replacing = start.get("words", "")
    page = known_of(building, request.GET.get("page"))
    context = {
        "building": building,
        "add": add,
        "adds": LABELS,
        "form": form,
        "replacing": replacing,
        "page": page,
        "known": said_of(page.object_list),
        "waiting": not_used(building, building.current_revision()),
        "strength": strength_of(building),
        "may_record": may(Action.RECORD_READING, building.roles_of(request.user)),
    }
    status = 400 if form.errors else 200
    return render(request, "checks/concrete.html", context, status=status)
