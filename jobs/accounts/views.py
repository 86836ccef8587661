"""Pages of people, and an administrator's changes to accounts."""

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
    """List people and invitations."""
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
    """Show one person; administrators can change the account here."""
    return _render_person(request, _get_person(request, person_id), RoleForm())


@require_POST
def submit_role(request: AuthenticatedRequest, person_id: int) -> HttpResponse:
    """Change the role of an account."""
    person = _get_person(request, person_id)
    form = RoleForm(request.POST)
    if not form.is_valid():
        require(request.user, Action.MANAGE_ACCOUNTS, roles={request.user.role})
        return _render_person(request, person, form, status=400)
    role = form.cleaned_data["role"]

    def change() -> AccountChange:
        return services.change_role(actor=request.user, person=person, role=role)

    return _apply_change(
        request, person, change, f"{person} is now {Role(role).label}."
    )


@require_POST
def submit_account_closing(
    request: AuthenticatedRequest, person_id: int
) -> HttpResponse:
    """Close an account."""
    person = _get_person(request, person_id)

    def change() -> AccountChange:
        return services.close_account(actor=request.user, person=person)

    return _apply_change(request, person, change, f"Account of {person} closed.")


@require_POST
def submit_account_reopening(
    request: AuthenticatedRequest, person_id: int
) -> HttpResponse:
    """Reopen an account."""
    person = _get_person(request, person_id)

    def change() -> AccountChange:
        services.reopen_account(actor=request.user, person=person)
        return AccountChange()

    return _apply_change(request, person, change, f"Account of {person} reopened.")


@require_POST
def sign_out_person(request: AuthenticatedRequest, person_id: int) -> HttpResponse:
    """End all sessions and tokens of a person."""
    person = _get_person(request, person_id)

    def change() -> AccountChange:
        return services.sign_out_everywhere(actor=request.user, person=person)

    return _apply_change(request, person, change, f"{person} signed out everywhere.")


@require_POST
def send_password_email(request: AuthenticatedRequest, person_id: int) -> HttpResponse:
    """E-mail a person a link to set a new password."""
    person = _get_person(request, person_id)
    site = request.build_absolute_uri("/")

    def change() -> AccountChange:
        services.record_password_link(actor=request.user, person=person)
        transaction.on_commit(
            lambda: email_password_link.delay(person.pk, site), robust=True
        )
        return AccountChange()

    return _apply_change(request, person, change, f"Password link sent to {person}.")


def _require_people_access(actor: Person) -> None:
    if not queries.may_see_people(actor):
        raise PermissionDenied(
            "Only operations managers and administrators can see this page."
        )


def _get_person(request: AuthenticatedRequest, person_id: int) -> Person:
    _require_people_access(request.user)
    return get_object_or_404(queries.filter_visible_people(request.user), pk=person_id)


def _apply_change(
    request: AuthenticatedRequest,
    person: Person,
    call_change: Callable[[], AccountChange],
    success_message: str,
) -> HttpResponse:
    """Call a change of an account, and show its consequences or its errors."""
    try:
        changed = call_change()
    except ValidationError as error:
        for message in error.messages:
            messages.error(request, message)
        return redirect("accounts:person", person.pk)
    messages.success(request, success_message)
    if changed.removed_from:
        jobs = ", ".join(changed.removed_from)
        messages.warning(request, f"No longer engineer; removed from: {jobs}.")
    if changed.unmanaged_jobs:
        jobs = ", ".join(changed.unmanaged_jobs)
        messages.warning(
            request,
            f"These jobs have no active operations manager now: {jobs}.",
        )
    if changed.revoked_invitations:
        messages.warning(request, "Their open invitations were revoked.")
    return redirect("accounts:person", person.pk)


def _render_person(
    request: AuthenticatedRequest, person: Person, form: RoleForm, status: int = 200
) -> HttpResponse:
    manages = may(Action.MANAGE_ACCOUNTS, {str(request.user.role)})
    if not form.is_bound:
        form.initial = {"role": person.role}
    context = {
        "person": person,
        "details": queries.get_person_details(request.user, person),
        "role_form": form,
        "manages": manages,
        "may_change": manages and person.pk != request.user.pk,
    }
    return render(request, "jobs/accounts/person_detail.html", context, status=status)
