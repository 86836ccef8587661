"""The concrete of a building: what became known of it, and entering more."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods

from checks.forms.concrete import ENTRY_FORMS, TemperatureForm
from checks.queries.concrete_history import (
    build_history_rows,
    get_form_initial,
    has_temperature,
    list_unused_entries,
    paginate_entries,
)
from checks.queries.strength_status import get_strength_status
from checks.services.concrete import record_concrete
from checks.services.readings import record_readings
from checks.views.readings import get_visible_building
from core.permissions import Action, may, require
from core.requests import AuthenticatedRequest
from jobs.exchange.input.parser import DocumentIssue
from jobs.models import Building

METRIC_UNITS = ("mm", "cm", "m")
SAMPLE_KIND = "sample"
ENTRY_LABELS = {
    "temperature": "Temperature",
    SAMPLE_KIND: "Field-cured sample",
    "standard_cured": "Standard-cured test",
    "placing": "Day of placing",
    "expected": "Temperatures expected",
    "mixture": "Cylinders of the mixture",
}


@require_http_methods(["GET", "POST"])
def concrete(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show what is known of the concrete, and record what is typed."""
    building = get_visible_building(request, pk)
    given = request.POST if request.method == "POST" else request.GET
    start = get_form_initial(building, given.get("supersedes", ""))
    asked = start.get("kind") or given.get("add", "")
    add = asked if asked in ENTRY_FORMS else next(iter(ENTRY_FORMS))
    if request.method == "GET":
        form = _build_form(
            building, add, start, initial=_default_units(building) | start
        )
        return _render_page(request, building, add, form, start)
    require(request.user, Action.RECORD_READING, roles=building.roles_of(request.user))
    form = _build_form(building, add, start, data=request.POST)
    if form.is_valid():
        refused = _record_entry(request, building, add, form.to_entry())
        if not refused:
            messages.success(request, f"{ENTRY_LABELS[add]} recorded.")
            return redirect(f"{request.path}?{urlencode({'add': add})}")
        form.add_issues(refused)
    return _render_page(request, building, add, form, start)


def _build_form(
    building: Building, kind: str, start: dict[str, Any], **form_arguments: Any
) -> Any:
    """Make the form; that of the first temperature asks for the concrete's age."""
    form = ENTRY_FORMS[kind](**form_arguments)
    if isinstance(form, TemperatureForm) and (
        "hours" in start or not has_temperature(building)
    ):
        form.require_age()
    return form


def _record_entry(
    request: AuthenticatedRequest, building: Building, kind: str, entry: dict[str, Any]
) -> list[DocumentIssue]:
    """Hand it to the record's door for it; give back why it was refused."""
    who = request.user
    if kind == SAMPLE_KIND:
        return record_readings(actor=who, building=building, entries=[entry]).refused
    return record_concrete(actor=who, building=building, entries=[entry]).refused


def _default_units(building: Building) -> dict[str, str]:
    """Offer the degrees and the pressure that go with the plan's length unit."""
    unit = building.current_revision().document.get("length_unit")
    metric = unit in METRIC_UNITS
    return {
        "degree": "degC" if metric else "degF",
        "pressure": "MPa" if metric else "psi",
    }


def _render_page(
    request: AuthenticatedRequest, building: Building, kind: str, form: Any, start: Any
) -> HttpResponse:
    replacing = start.get("words", "")
    page = paginate_entries(building, request.GET.get("page"))
    context = {
        "building": building,
        "add": kind,
        "adds": ENTRY_LABELS,
        "form": form,
        "replacing": replacing,
        "page": page,
        "known": build_history_rows(page.object_list),
        "waiting": list_unused_entries(building, building.current_revision()),
        "strength": get_strength_status(building),
        "may_record": may(Action.RECORD_READING, building.roles_of(request.user)),
    }
    status = 400 if form.errors else 200
    return render(request, "checks/concrete.html", context, status=status)
