"""The review queue, and the actions on one finding."""

from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from checks.forms.decisions import DecisionForm, RemeasurementForm
from checks.forms.photographs import CarryOutForm
from checks.models import Decision, Finding
from checks.queries import review
from checks.queries.finding_groups import group_page
from checks.queries.review import QueueFilter, QueueState
from checks.services.errors import ConflictError
from checks.services.findings import (
    decide_finding,
    report_work_done,
    request_remeasurement,
)
from checks.views.finding_page import build_finding_context
from checks.views.finding_queue import list_queue_items
from checks.views.view_log import Kind, log_view
from core.requests import AuthenticatedRequest, get_query_param
from jobs.models import Building

QUEUE_TOPICS = {
    "position": "Rods",
    "level": "Levels",
    "squareness": "Outline",
    "wall": "Walls",
    "projection": "Projection",
    "strength": "Strength",
    "notch": "Notch",
    "plumb": "Plumb",
}
MAX_KEY_DIGITS = 17  # more is no primary key, and too large for the database


@require_GET
def finding_queue(request: AuthenticatedRequest) -> HttpResponse:
    """List the findings, those of the most urgent shipments first."""
    filters = _parse_filters(request)
    page = review.paginate_findings(request.user, filters, request.GET.get("page"))
    groups = group_page(
        list(page.object_list), review.filter_findings(request.user, filters)
    )
    context = {
        "building": _get_filtered_building(request, filters.building),
        "filters": filters,
        "needs_decision": filters.state == "waiting",
        "states": dict(QueueState.choices()),
        "topics": QUEUE_TOPICS,
        "page": page,
        "rows": list_queue_items(request, groups, filters.state),
    }
    return render(request, "checks/findings.html", context)


def _parse_filters(request: AuthenticatedRequest) -> QueueFilter:
    """Return the filters of the query string; unknown values are left out."""
    building = request.GET.get("building", "")
    is_key = building.isdecimal() and len(building) <= MAX_KEY_DIGITS
    state = request.GET.get("state", "waiting")
    return QueueFilter(
        state=QueueState(state) if state in QueueState.values() else QueueState.WAITING,
        job=get_query_param(request, "job"),
        building=int(building) if is_key else None,
        topic=get_query_param(request, "topic"),
    )


def _get_filtered_building(
    request: AuthenticatedRequest, pk: int | None
) -> Building | None:
    """Return the building the queue is filtered by, if the reader may see it."""
    if pk is None:
        return None
    visible = Building.objects.visible_to(request.user).select_related("job")
    building: Building | None = visible.filter(pk=pk).first()
    return building


@require_GET
def finding_detail(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show one finding: readings, cause, remedies, history and actions."""
    found = _get_visible_finding(request, pk)
    log_view(request, found.building, Kind.FINDING, pk)
    return _render_finding(request, found)


@require_POST
def sign_decision(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Sign a decision on a finding."""
    found = _get_visible_finding(request, pk)
    form = DecisionForm(request.POST, request=request, finding=found)
    return _call_service(
        request,
        found,
        {"decide_form": form},
        lambda: decide_finding(
            actor=request.user, finding=found, **form.to_arguments()
        ),
        "Decision signed.",
    )


@require_POST
def ask_for_readings(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Request another measurement of a finding."""
    found = _get_visible_finding(request, pk)
    form = RemeasurementForm(request.POST, request=request)
    return _call_service(
        request,
        found,
        {"ask_form": form},
        lambda: request_remeasurement(
            actor=request.user, finding=found, **form.to_arguments()
        ),
        "Another measurement requested.",
    )


@require_POST
def report_carried_out(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Report the work that a decision ordered as carried out."""
    decisions = Decision.objects.filter(
        finding__in=Finding.objects.visible_to(request.user)
    )
    made = get_object_or_404(decisions, pk=pk)
    found = _get_visible_finding(request, made.finding_id)
    form = CarryOutForm(request.POST, request.FILES)
    return _call_service(
        request,
        found,
        {"carry_form": form},
        lambda: report_work_done(
            actor=request.user, decision=made, **form.to_arguments()
        ),
        "Work reported. Measure again to close the finding.",
    )


def _get_visible_finding(request: AuthenticatedRequest, pk: int) -> Finding:
    found = review.get_finding(request.user, pk)
    if found is None:
        raise Http404
    return found


def _call_service(
    request: AuthenticatedRequest,
    finding: Finding,
    forms: dict[str, Form],
    call: Callable[[], object],
    success_message: str,
) -> HttpResponse:
    """Call a service with a form; show the page again where either refuses."""
    (form,) = forms.values()
    if not form.is_valid():
        return _render_finding(request, finding, forms, status=400)
    try:
        call()
    except ValidationError as error:
        if hasattr(error, "error_dict"):
            known = {name for name in error.error_dict if name in form.fields}
            for name, errors in error.error_dict.items():
                form.add_error(name if name in known else None, errors)
        else:
            form.add_error(None, error)
        return _render_finding(request, finding, forms, status=400)
    except ConflictError as error:
        messages.warning(request, str(error))
        return _render_finding(
            request, _get_visible_finding(request, finding.pk), status=409
        )
    messages.success(request, success_message)
    return redirect(finding)


def _render_finding(
    request: AuthenticatedRequest,
    finding: Finding,
    returned_forms: dict[str, Form] | None = None,
    status: int = 200,
) -> HttpResponse:
    context = build_finding_context(request, finding, returned_forms or {})
    return render(request, "checks/finding.html", context, status=status)
