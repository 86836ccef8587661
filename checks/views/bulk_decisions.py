"""Several findings that say the same, decided with one signature."""

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
from core.permissions import Action, may
from core.requests import AuthenticatedRequest

REMEASURE_CHOICE = (BulkDecisionForm.REMEASURE, "Measure again: ask the field")


@require_http_methods(["GET", "POST"])
def bulk_decision(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show the findings that say the same as this one; decide or ask for them."""
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
    # Whoever may not is told so by the service: every order is let through here.
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
        return f"Asked for another measurement of {several}."
    bulk_decide_findings(
        actor=request.user,
        findings=chosen,
        choice=given["choice"],
        disposition=given["disposition"],
        note=given["note"],
        seen=given["seen"],
        signed_with=form.signed_with,
    )
    return f"Decided on {several}."


def _render_again(
    request: AuthenticatedRequest,
    found: Finding,
    form: BulkDecisionForm | None,
    status: int,
) -> HttpResponse:
    """Show the page once more, with what speaks against it."""
    row = find_group(found)
    if not row.has_several and form is None:
        return redirect(found)
    return _render_page(request, row, form, status)


def _label_orders(orders: list[str]) -> list[tuple[str, str]]:
    words = {"accept": "Accept them as they are (use as is)"}
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
    flagged = first.flagged_at is not None
    may_ask = may(
        Action.REQUEST_REMEASUREMENT, row.building.roles_of(request.user)
    ) and (flagged or first.state in ("open", "decided"))
    waits = flagged or first.state in ("open", "remeasure")
    approvals = list_approvals(request.user, row.building) if waits else []
    orders = _label_orders(list_common_orders(findings, approvals)) if approvals else []
    asked_first = row.first.remeasured is None
    if may_ask:
        orders = (
            [REMEASURE_CHOICE, *orders] if asked_first else [*orders, REMEASURE_CHOICE]
        )
    events = get_last_events(findings)
    ticked = {finding.pk for finding in findings} - own
    if form is not None:
        posted = set(request.POST.getlist("findings"))
        ticked = {finding.pk for finding in findings if str(finding.pk) in posted}
    blank = BulkDecisionForm(
        request=request,
        finding_labels={},
        choices=orders,
        initial={
            "seen": " ".join(f"{pk}:{event}" for pk, event in events.items()),
            "choice": orders[0][0] if orders else None,
        },
    )
    context = {
        "row": row,
        "building": row.building,
        "first": first,
        "sides": build_columns(members, own),
        "limits": list_shared_limits(findings),
        "left_out": len(row.members) - len(members),
        "ticked": ticked,
        "may_sign": bool(orders),
        "form": form or blank,
    }
    return render(request, "checks/bulk_decision.html", context, status=status)
