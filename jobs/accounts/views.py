"""The people: a list of them, one of them, and what an administrator changes."""

from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from core.models import Person, Role
from core.permissions import Action, may, require
from core.requests import AuthenticatedRequest
from core.tasks import email_password_link
from jobs.accounts import queries, services
from jobs.accounts.forms import PeopleFilterForm, RoleForm
from jobs.accounts.invitations import list_invitable_jobs
from jobs.accounts.services import AccountChange


@require_GET
def people_list(request: AuthenticatedRequest) -> HttpResponse:
    """Show who works here, and who is invited."""
    _require_people_access(request.user)
    form = PeopleFilterForm(request.GET)
    page, rows = queries.paginate_people(
        request.user, form.to_filter(), request.GET.get("page")
    )
    context = {
        "form": form,
        "page": page,
        "rows": rows,
        "filtered": any(value for key, value in request.GET.items() if key != "page"),
        "invitations": queries.list_invitations(request.user),
        "may_invite": request.user.is_administrator
        or list_invitable_jobs(request.user).exists(),
    }
    return render(request, "jobs/accounts/people_list.html", context)


@require_GET
def person_detail(request: AuthenticatedRequest, person_id: int) -> HttpResponse:
    """Show one person: role, jobs, and for an administrator what can be changed."""
    return _render_person(request, _get_person(request, person_id), RoleForm())


@require_POST
def submit_role(request: AuthenticatedRequest, person_id: int) -> HttpResponse:
    """Give an account another role."""
    found = _get_person(request, person_id)
    form = RoleForm(request.POST)
    if not form.is_valid():
        require(request.user, Action.MANAGE_ACCOUNTS, roles={request.user.role})
        return _render_person(request, found, form, status=400)
    role = form.cleaned_data["role"]

    def act() -> AccountChange:
        return services.change_role(actor=request.user, person=found, role=role)

    return _apply_change(request, found, act, f"{found} is {Role(role).label} now.")


@require_POST
def submit_account_closing(
    request: AuthenticatedRequest, person_id: int
) -> HttpResponse:
    """Let somebody sign in no more."""
    found = _get_person(request, person_id)

    def act() -> AccountChange:
        return services.close_account(actor=request.user, person=found)

    return _apply_change(request, found, act, f"The account of {found} is closed.")


@require_POST
def submit_account_reopening(
    request: AuthenticatedRequest, person_id: int
) -> HttpResponse:
    """Let somebody sign in again."""
    found = _get_person(request, person_id)

    def act() -> AccountChange:
        services.reopen_account(actor=request.user, person=found)
        return AccountChange()

    return _apply_change(request, found, act, f"{found} can sign in again.")


@require_POST
def sign_out_person(request: AuthenticatedRequest, person_id: int) -> HttpResponse:
    """End every session and token of somebody."""
    found = _get_person(request, person_id)

    def act() -> AccountChange:
        return services.sign_out_everywhere(actor=request.user, person=found)

    return _apply_change(request, found, act, f"{found} is signed out everywhere.")


@require_POST
def send_password_email(request: AuthenticatedRequest, person_id: int) -> HttpResponse:
    """Send somebody a link to set a new password."""
    found = _get_person(request, person_id)
    site = request.build_absolute_uri("/")

    def act() -> AccountChange:
        services.record_password_link(actor=request.user, person=found)
        transaction.on_commit(
            lambda: email_password_link.delay(found.pk, site), robust=True
        )
        return AccountChange()

    return _apply_change(request, found, act, f"A letter to {found} is on its way.")


def _require_people_access(actor: Person) -> None:
    if not queries.may_see_people(actor):
        raise PermissionDenied("The people are for whoever runs a job, or the house.")


def _get_person(request: AuthenticatedRequest, person_id: int) -> Person:
    _require_people_access(request.user)
    return get_object_or_404(queries.filter_visible_people(request.user), pk=person_id)


def _apply_change(
    request: AuthenticatedRequest,
    person: Person,
    call_change: Callable[[], AccountChange],
    success_message: str,
) -> HttpResponse:
    """Change an account and tell what came with it, or what speaks against it."""
    try:
        changed = call_change()
    except ValidationError as error:
        for message in error.messages:
            messages.error(request, message)
        return redirect("accounts:person", person.pk)
    messages.success(request, success_message)
    if changed.removed_from:
        jobs = ", ".join(changed.removed_from)
        messages.warning(request, f"No engineer any more, and taken off: {jobs}.")
    if changed.unmanaged_jobs:
        jobs = ", ".join(changed.unmanaged_jobs)
        messages.warning(request, f"Nobody runs these jobs now: {jobs}.")
    if changed.revoked_invitations:
        messages.warning(request, "Open invitations of theirs are revoked.")
    return redirect("accounts:person", person.pk)


def _render_person(
    request: AuthenticatedRequest, person: Person, form: RoleForm, status: int = 200
) -> HttpResponse:
    manages = may(Action.MANAGE_ACCOUNTS, {str(request.user.role)})
    if not form.is_bound:
        form.initial = {"role": person.role}
    context = {
        "found": person,
        "seen": queries.get_person_details(request.user, person),
        "role_form": form,
        "manages": manages,
        "may_change": manages and person.pk != request.user.pk,
    }
    return render(request, "jobs/accounts/person_detail.html", context, status=status)
