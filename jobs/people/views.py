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
from core.requests import PersonRequest
from core.tasks import send_password_link
from jobs.people import accounts, queries
from jobs.people.accounts import Changed
from jobs.people.forms import PeopleFilterForm, RoleForm
from jobs.people.invitations import jobs_to_invite_to


@require_GET
def people(request: PersonRequest) -> HttpResponse:
    """Show who works here, and who is invited."""
    _require_sight(request.user)
    form = PeopleFilterForm(request.GET)
    page, rows = queries.people_page(
        request.user, form.asked(), request.GET.get("page")
    )
    context = {
        "form": form,
        "page": page,
        "rows": rows,
        "filtered": any(value for key, value in request.GET.items() if key != "page"),
        "invitations": queries.invitations_of(request.user),
        "may_invite": request.user.is_administrator
        or jobs_to_invite_to(request.user).exists(),
    }
    return render(request, "jobs/people/list.html", context)


@require_GET
def person(request: PersonRequest, person_id: int) -> HttpResponse:
    """Show one person: role, jobs, and for an administrator what can be changed."""
    return _person_page(request, _seen(request, person_id), RoleForm())


@require_POST
def change_role(request: PersonRequest, person_id: int) -> HttpResponse:
    """Give an account another role."""
    found = _seen(request, person_id)
    form = RoleForm(request.POST)
    if not form.is_valid():
        require(request.user, Action.MANAGE_ACCOUNTS, roles={request.user.role})
        return _person_page(request, found, form, status=400)
    role = form.cleaned_data["role"]

    def act() -> Changed:
        return accounts.change_role(actor=request.user, person=found, role=role)

    return _changed(request, found, act, f"{found} is {Role(role).label} now.")


@require_POST
def close_account(request: PersonRequest, person_id: int) -> HttpResponse:
    """Let somebody sign in no more."""
    found = _seen(request, person_id)

    def act() -> Changed:
        return accounts.close_account(actor=request.user, person=found)

    return _changed(request, found, act, f"The account of {found} is closed.")


@require_POST
def reopen_account(request: PersonRequest, person_id: int) -> HttpResponse:
    """Let somebody sign in again."""
    found = _seen(request, person_id)

    def act() -> Changed:
        accounts.reopen_account(actor=request.user, person=found)
        return Changed()

    return _changed(request, found, act, f"{found} can sign in again.")


@require_POST
def sign_out_person(request: PersonRequest, person_id: int) -> HttpResponse:
    """End every session and token of somebody."""
    found = _seen(request, person_id)

    def act() -> Changed:
        return accounts.sign_out_everywhere(actor=request.user, person=found)

    return _changed(request, found, act, f"{found} is signed out everywhere.")


@require_POST
def new_password(request: PersonRequest, person_id: int) -> HttpResponse:
    """Send somebody a link to set a new password."""
    found = _seen(request, person_id)
    site = request.build_absolute_uri("/")

    def act() -> Changed:
        accounts.send_new_password(actor=request.user, person=found)
        transaction.on_commit(
            lambda: send_password_link.delay(found.pk, site), robust=True
        )
        return Changed()

    return _changed(request, found, act, f"A letter to {found} is on its way.")


def _require_sight(actor: Person) -> None:
    if not queries.may_see_people(actor):
        raise PermissionDenied("The people are for whoever runs a job, or the house.")


def _seen(request: PersonRequest, person_id: int) -> Person:
    _require_sight(request.user)
    return get_object_or_404(queries.people_visible_to(request.user), pk=person_id)


def _changed(
    request: PersonRequest, found: Person, act: Callable[[], Changed], done: str
) -> HttpResponse:
    """Change an account and tell what came with it, or what speaks against it."""
    try:
        changed = act()
    except ValidationError as error:
        for message in error.messages:
            messages.error(request, message)
        return redirect("people:person", found.pk)
    messages.success(request, done)
    if changed.taken_off:
        jobs = ", ".join(changed.taken_off)
        messages.warning(request, f"No engineer any more, and taken off: {jobs}.")
    if changed.unmanaged:
        jobs = ", ".join(changed.unmanaged)
        messages.warning(request, f"Nobody runs these jobs now: {jobs}.")
    if changed.revoked:
        messages.warning(request, "Open invitations of theirs are revoked.")
    return redirect("people:person", found.pk)


def _person_page(
    request: PersonRequest, found: Person, form: RoleForm, status: int = 200
) -> HttpResponse:
    manages = may(Action.MANAGE_ACCOUNTS, {str(request.user.role)})
    if not form.is_bound:
        form.initial = {"role": found.role}
    context = {
        "found": found,
        "seen": queries.person_seen(request.user, found),
        "role_form": form,
        "manages": manages,
        "may_change": manages and found.pk != request.user.pk,
    }
    return render(request, "jobs/people/person.html", context, status=status)
