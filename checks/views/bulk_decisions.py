"""Several findings with one cause and proposal, decided with one signature."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from checks.forms.decisions import BulkDecisionForm
from checks.labels import describe_topic, get_remedy_label
from checks.models import Finding
from checks.queries.bulk_decisions import (
    build_columns,
    get_chosen_findings,
    get_last_events,
    list_shared_limits,
)
from checks.queries.finding_groups import FindingGroup, find_group
from checks.queries.review import get_finding
from checks.services.bulk_decisions import (
    MAX_BULK_FINDINGS,
    bulk_decide_findings,
    bulk_request_remeasurement,
    find_measured_by,
    list_approvals,
    list_common_orders,
)
from checks.services.errors import ConflictError
from checks.views.finding_page import describe_state
from core.permissions import Action, may
from core.requests import AuthenticatedRequest
from core.vocabulary import RemedyKind

REMEASURE_CHOICE = (
    BulkDecisionForm.REMEASURE,
    f"{RemedyKind.REMEASURE.label} (request)",
)


@require_http_methods(["GET", "POST"])
def bulk_decision(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show the findings grouped with this one; decide on them, or measure again."""
    found = get_finding(request.user, pk)
    if found is None:
        raise Http404
    if request.method == "POST":
        return _handle_post(request, found)
    row = find_group(found)
    return _render_page(request, row) if row.has_several else redirect(found)


def _handle_post(request: AuthenticatedRequest, found: Finding) -> HttpResponse:
    chosen = get_chosen_findings(
        request.user, found.building_id, request.POST.getlist("findings")
    )
    # The service refuses what this person may not order, with the reason.
    orders = [REMEASURE_CHOICE, *_label_orders(list_common_orders(chosen))]
    known = {finding.pk: describe_topic(finding.topic) for finding in chosen}
    form = BulkDecisionForm(
        request.POST, request=request, finding_labels=known, choices=orders
    )
    if not form.is_valid():
        return _render_again(request, found, form, 400)
    try:
        done = _apply_choice(request, form, chosen)
    except PermissionDenied as error:
        form.add_error(None, str(error))
        return _render_again(request, found, form, 403)
    except ConflictError as error:
        messages.warning(request, f"{error} Nothing was decided.")
        return _render_again(request, found, None, 409)
    except ValidationError as error:
        form.add_error(None, error.messages)
        return _render_again(request, found, form, 400)
    messages.success(request, done)
    return redirect("checks:findings")


def _apply_choice(
    request: AuthenticatedRequest, form: BulkDecisionForm, chosen: list[Finding]
) -> str:
    given = form.cleaned_data
    several = f"{len(chosen)} finding{'' if len(chosen) == 1 else 's'}"
    if given["choice"] == BulkDecisionForm.REMEASURE:
        bulk_request_remeasurement(
            actor=request.user,
            findings=chosen,
            note=given["note"],
            seen=given["seen"],
        )
        return f"Another measurement of {several} requested."
    bulk_decide_findings(
        actor=request.user,
        findings=chosen,
        choice=given["choice"],
        disposition=given["disposition"],
        note=given["note"],
        seen=given["seen"],
        signed_with=form.signed_with,
    )
    return f"Decision signed for {several}."


def _render_again(
    request: AuthenticatedRequest,
    found: Finding,
    form: BulkDecisionForm | None,
    status: int,
) -> HttpResponse:
    """Show the page again, with the errors of the form."""
    row = find_group(found)
    if not row.has_several and form is None:
        return redirect(found)
    return _render_page(request, row, form, status)


def _label_orders(orders: list[str]) -> list[tuple[str, str]]:
    words = {"accept": "Accept as they are (use as is)"}
    return [(name, words.get(name) or get_remedy_label(name)) for name in orders]


def _render_page(
    request: AuthenticatedRequest,
    row: FindingGroup,
    form: BulkDecisionForm | None = None,
    status: int = 200,
) -> HttpResponse:
    members = row.members[:MAX_BULK_FINDINGS]
    findings = [member.finding for member in members]
    own = find_measured_by(request.user, findings)
    first = row.first.finding
    orders = _list_orders(request, row, findings)
    context = {
        "row": row,
        "building": row.building,
        "first": first,
        "state": describe_state(first),
        "has_hint": bool(first.likely_cause) and row.first.remeasured is None,
        "columns": build_columns(members, own),
        "limits": list_shared_limits(findings),
        "unlisted_count": len(row.members) - len(members),
        "ticked": _select_ticked(request, findings, own, is_returned=form is not None),
        "may_sign": bool(orders),
        "form": form or _build_blank_form(request, findings, orders),
    }
    return render(request, "checks/bulk_decision.html", context, status=status)


def _list_orders(
    request: AuthenticatedRequest, row: FindingGroup, findings: list[Finding]
) -> list[tuple[str, str]]:
    """List what this reader may order for all of them, the proposal first."""
    first = row.first.finding
    is_flagged = first.flagged_at is not None
    is_undecided = is_flagged or first.state in (
        Finding.State.OPEN,
        Finding.State.REMEASURE,
    )
    approvals = list_approvals(request.user, row.building) if is_undecided else []
    orders = _label_orders(list_common_orders(findings, approvals)) if approvals else []
    roles = row.building.roles_of(request.user)
    may_ask = may(Action.REQUEST_REMEASUREMENT, roles) and (
        is_flagged or first.state in (Finding.State.OPEN, Finding.State.DECIDED)
    )
    if not may_ask or not all(finding.checks for finding in findings):
        return orders
    if row.first.remeasured is None:
        return [REMEASURE_CHOICE, *orders]
    return [*orders, REMEASURE_CHOICE]


def _select_ticked(
    request: AuthenticatedRequest,
    findings: list[Finding],
    own: frozenset[int],
    *,
    is_returned: bool,
) -> set[int]:
    """Select the findings ticked: all but the reader's own, or as they came back."""
    if not is_returned:
        return {finding.pk for finding in findings} - own
    posted = set(request.POST.getlist("findings"))
    return {finding.pk for finding in findings if str(finding.pk) in posted}


def _build_blank_form(
    request: AuthenticatedRequest,
    findings: list[Finding],
    orders: list[tuple[str, str]],
) -> BulkDecisionForm:
    events = get_last_events(findings)
    return BulkDecisionForm(
        request=request,
        finding_labels={},
        choices=orders,
        initial={
            "seen": " ".join(f"{pk}:{event}" for pk, event in events.items()),
            "choice": orders[0][0] if orders else None,
        },
    )
