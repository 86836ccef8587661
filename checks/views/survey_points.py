"""Survey points: matched and fitted as a preview, then recorded as readings."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from checks.forms.survey_points import SurveyPointsForm
from checks.queries.survey_import import build_survey_page, locate_by_check
from checks.services.surveys import record_survey
from checks.views.display_units import get_display_units
from checks.views.reading_files import describe_recorded
from checks.views.readings import get_visible_building
from core.permissions import Action, require
from core.requests import AuthenticatedRequest
from jobs.exchange.issues import DocumentError, DocumentIssue
from jobs.models import Building
from jobs.plans.plan_cache import load_plan


@require_http_methods(["GET", "POST"])
def survey_points(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Preview the readings of a point file, and record them once confirmed."""
    building = get_visible_building(request, pk)
    require(request.user, Action.RECORD_READING, roles=building.roles_of(request.user))
    sent = request.method == "POST"
    form = SurveyPointsForm(
        request.POST if sent else None,
        request.FILES if sent else None,
        building=building,
        initial={"unit": _default_unit(building)},
    )
    refused: list[DocumentIssue] = []
    if form.is_valid() and "store" in request.POST and form.is_confirmed:
        refused = _record_survey(request, building, form)
        if not refused:
            return redirect("checks:reading_history", building.pk)
    context = {
        "building": building,
        "form": form,
        "refused": refused,
        "page": build_survey_page(form.survey) if form.survey else None,
        "units": get_display_units(
            request, load_plan(building.current_revision()).length_unit
        ),
        "may_record": True,
    }
    wrong = (refused or (sent and form.errors)) and "HX-Request" not in request.headers
    return render(
        request, "checks/survey_points.html", context, status=400 if wrong else 200
    )


def _record_survey(
    request: AuthenticatedRequest, building: Building, form: SurveyPointsForm
) -> list[DocumentIssue]:
    """Record the readings of the preview; return issues by the reading's check."""
    assert form.survey is not None  # noqa: S101 - a confirmed form has one
    try:
        recorded = record_survey(
            actor=request.user, building=building, shot=form.survey
        )
    except DocumentError as error:
        return list(error.issues)
    except ValidationError as error:
        return [DocumentIssue("", message) for message in error.messages]
    if not recorded.refused:
        messages.success(request, describe_recorded(recorded))
    return locate_by_check(form.survey, recorded.refused)


def _default_unit(building: Building) -> str:
    unit = load_plan(building.current_revision()).length_unit
    return "ft" if unit in ("in", "ft") else "m"
