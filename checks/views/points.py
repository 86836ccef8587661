"""The points of a survey: matched and fitted on the page before they are recorded."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from checks.forms.points import PointsForm
from checks.queries.surveys import survey_page, told_by_check
from checks.services.points import record_shot
from checks.views.readings import seen_building
from checks.views.units import units_for
from core.permissions import Action, require
from core.requests import PersonRequest
from jobs.exchange.parse import DocumentError, Refusal
from jobs.models import Building
from jobs.plans import plan_of


@require_http_methods(["GET", "POST"])
def points(request: PersonRequest, pk: int) -> HttpResponse:
    """Show what a point file says of a building, and record it when told to."""
    building = seen_building(request, pk)
    require(request.user, Action.RECORD_READING, roles=building.roles_of(request.user))
    sent = request.method == "POST"
    form = PointsForm(
        request.POST if sent else None,
        request.FILES if sent else None,
        building=building,
        initial={"unit": _unit(building)},
    )
    refused: list[Refusal] = []
    if form.is_valid() and "store" in request.POST and form.looked_at:
        refused = _recorded(request, building, form)
        if not refused:
            return redirect("checks:record", building.pk)
    context = {
        "building": building,
        "form": form,
        "refused": refused,
        "page": survey_page(form.shot) if form.shot else None,
        "units": units_for(request, plan_of(building.current_revision()).length_unit),
        "may_record": True,
    }
    wrong = (refused or (sent and form.errors)) and "HX-Request" not in request.headers
    return render(request, "checks/points.html", context, status=400 if wrong else 200)


def _recorded(
    request: PersonRequest, building: Building, form: PointsForm
) -> list[Refusal]:
    """Record what was shown; what is refused is told by the reading's check."""
    assert form.shot is not None  # noqa: S101 - it was shown
    try:
        recorded = record_shot(actor=request.user, building=building, shot=form.shot)
    except DocumentError as error:
        return list(error.errors)
    except ValidationError as error:
        return [Refusal("", message) for message in error.messages]
    told = f"{len(recorded.stored)} readings recorded"
    if recorded.repeated:
        told += f", {len(recorded.repeated)} were in the record already"
    if not recorded.refused:
        messages.success(request, f"{told}.")
    return told_by_check(form.shot, recorded.refused)


def _unit(building: Building) -> str:
    unit = plan_of(building.current_revision()).length_unit
    return "ft" if unit in ("in", "ft") else "m"
