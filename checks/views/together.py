"""Several findings that say the same, decided with one signature."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from checks.forms.orders import TogetherForm
from checks.models import Finding
from checks.queries.alike import Alike, alike_with
from checks.queries.review import finding_for
from checks.queries.together import (
    chosen_findings,
    last_events,
    limits_together,
    side_by_side,
)
from checks.services.errors import ConflictError
from checks.services.together import (
    MOST_TOGETHER,
    approvals_of,
    ask_again_together,
    decide_together,
    measured_by,
    orders_in_common,
)
from checks.wording import remedy_words, topic_words
from core.permissions import Action, may
from core.requests import PersonRequest

ASK = (TogetherForm.REMEASURE, "Measure again: ask the field")


@require_http_methods(["GET", "POST"])
def together(request: PersonRequest, pk: int) -> HttpResponse:
    """Show the findings that say the same as this one; decide or ask for them."""
    found = finding_for(request.user, pk)
    if found is None:
        raise Http404
    if request.method == "POST":
        return _signed(request, found)
    row = alike_with(found)
    return _page(request, row) if row.together else redirect(found)


def _signed(request: PersonRequest, found: Finding) -> HttpResponse:
    chosen = chosen_findings(
        request.user, found.building_id, request.POST.getlist("findings")
    )
    # Whoever may not is told so by the service: every order is let through here.
    orders = [ASK, *_choices(orders_in_common(chosen))]
    known = {finding.pk: topic_words(finding.topic) for finding in chosen}
    form = TogetherForm(request.POST, request=request, known=known, choices=orders)
    if not form.is_valid():
        return _again(request, found, form, 400)
    try:
        done = _do(request, form, chosen)
    except PermissionDenied as error:
        form.add_error(None, str(error))
        return _again(request, found, form, 403)
    except ConflictError as error:
        messages.warning(request, f"{error} Nothing was decided.")
        return _again(request, found, None, 409)
    except ValidationError as error:
        form.add_error(None, error.messages)
        return _again(request, found, form, 400)
    messages.success(request, done)
    return redirect("checks:findings")


def _do(request: PersonRequest, form: TogetherForm, chosen: list[Finding]) -> str:
    given = form.cleaned_data
    several = f"{len(chosen)} finding{'' if len(chosen) == 1 else 's'}"
    if given["choice"] == TogetherForm.REMEASURE:
        ask_again_together(
            actor=request.user,
            findings=chosen,
            note=given["note"],
            seen=given["seen"],
        )
        return f"Asked for another measurement of {several}."
    decide_together(
        actor=request.user,
        findings=chosen,
        choice=given["choice"],
        disposition=given["disposition"],
        note=given["note"],
        seen=given["seen"],
        signed_with=form.signed_with,
    )
    return f"Decided on {several}."


def _again(
    request: PersonRequest, found: Finding, form: TogetherForm | None, status: int
) -> HttpResponse:
    """Show the page once more, with what speaks against it."""
    row = alike_with(found)
    if not row.together and form is None:
        return redirect(found)
    return _page(request, row, form, status)


def _choices(orders: list[str]) -> list[tuple[str, str]]:
    words = {"accept": "Accept them as they are (use as is)"}
    return [(name, words.get(name) or remedy_words(name)) for name in orders]


def _page(
    request: PersonRequest,
    row: Alike,
    form: TogetherForm | None = None,
    status: int = 200,
) -> HttpResponse:
    members = row.members[:MOST_TOGETHER]
    findings = [member.finding for member in members]
    own = measured_by(request.user, findings)
    first = row.first.finding
    flagged = first.flagged_at is not None
    may_ask = may(Action.ASK_AGAIN, row.building.roles_of(request.user)) and (
        flagged or first.state in ("open", "decided")
    )
    waits = flagged or first.state in ("open", "remeasure")
    approvals = approvals_of(request.user, row.building) if waits else []
    orders = _choices(orders_in_common(findings, approvals)) if approvals else []
    asked_first = row.first.again is None
    if may_ask:
        orders = [ASK, *orders] if asked_first else [*orders, ASK]
    events = last_events(findings)
    ticked = {finding.pk for finding in findings} - own
    if form is not None:
        posted = set(request.POST.getlist("findings"))
        ticked = {finding.pk for finding in findings if str(finding.pk) in posted}
    blank = TogetherForm(
        request=request,
        known={},
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
        "sides": side_by_side(members, own),
        "limits": limits_together(findings),
        "left_out": len(row.members) - len(members),
        "ticked": ticked,
        "may_sign": bool(orders),
        "form": form or blank,
    }
    return render(request, "checks/finding_together.html", context, status=status)
