"""The state of a building's steel: who recorded it, and the form to change it."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from checks.forms.steel import SteelStateForm
from checks.services.steel import record_steel_state
from checks.views.readings import get_visible_building
from core.form_errors import call_service
from core.permissions import Action, may, require
from core.requests import AuthenticatedRequest


@require_http_methods(["GET", "POST"])
def steel_state(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show how far the steel of a building is, and record another state."""
    building = get_visible_building(request, pk)
    roles = building.roles_of(request.user)
    posted = None
    if request.method == "POST":
        require(request.user, Action.SET_STEEL_STATE, roles=roles)
        posted = request.POST  # also an empty one is to be answered
    form = SteelStateForm(posted, initial={"state": building.steel})
    if form.is_valid():
        changed = call_service(
            form,
            lambda: record_steel_state(
                actor=request.user, building=building, **form.cleaned_data
            ),
        )
        if not form.errors:
            text = (
                "Steel updated." if changed else "The steel is in this state already."
            )
            messages.success(request, text)
            return redirect(building)
    context = {
        "building": building,
        "form": form if may(Action.SET_STEEL_STATE, roles) else None,
        "events": building.steel_state_events.select_related("by").order_by("-pk"),
    }
    status = 400 if form.errors else 200
    return render(request, "checks/steel_state.html", context, status=status)
