"""Inviting somebody, taking an invitation back, and taking one up."""

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from core.form_errors import call_service
from core.requests import AuthenticatedRequest
from jobs.accounts import invitations, tasks
from jobs.accounts.forms import AcceptInvitationForm, InvitationForm
from jobs.accounts.models import Invitation
from jobs.models import Job

AUTH_BACKEND = "django.contrib.auth.backends.ModelBackend"


@never_cache
@require_http_methods(["GET", "POST"])
def invite_person(request: AuthenticatedRequest) -> HttpResponse:
    """Invite somebody; this answer alone shows the link, and a letter carries it."""
    jobs = invitations.list_invitable_jobs(request.user)
    if not (request.user.is_administrator or jobs.exists()):
        raise PermissionDenied("Whoever runs a job invites people onto it.")
    onto = _get_preselected_job(jobs, request.GET.get("job", ""))
    form = InvitationForm(
        request.POST or None,
        actor=request.user,
        initial={"jobs": onto.number if onto else ""},
    )
    if form.is_valid() and (made := _create_invitation(request, form)):
        site = request.build_absolute_uri("/")
        _queue_invitation_email(made, site)
        context = {"made": made, "link": invitations.build_link(made, site)}
        return render(request, "jobs/accounts/invitation_created.html", context)
    status = 400 if form.is_bound else 200
    context = {"form": form, "days": invitations.INVITATION_LIFETIME.days}
    return render(request, "jobs/accounts/invite_person.html", context, status=status)


def _get_preselected_job(jobs: QuerySet[Job], pk: str) -> Job | None:
    known = pk.isdecimal() and len(pk) < 18
    return jobs.filter(pk=pk).first() if known else None


def _create_invitation(
    request: AuthenticatedRequest, form: InvitationForm
) -> Invitation | None:
    return call_service(
        form,
        lambda: invitations.create_invitation(actor=request.user, **form.cleaned_data),
    )


def _queue_invitation_email(invitation: Invitation, site: str) -> None:
    """Queue the letter; a queue that is down costs the letter, not the invitation."""
    transaction.on_commit(
        lambda: tasks.send_invitation.delay(str(invitation.pk), site), robust=True
    )


@require_POST
def withdraw_invitation(
    request: AuthenticatedRequest, invitation_id: str
) -> HttpResponse:
    """Take an invitation back."""
    seen = Invitation.objects.visible_to(request.user)
    found = get_object_or_404(seen, pk=invitation_id)
    try:
        invitations.revoke_invitation(actor=request.user, invitation=found)
    except invitations.InvitationEndedError as error:
        messages.warning(request, str(error))
    else:
        messages.success(request, f"Revoked: {found.address}. The link is refused now.")
    return redirect("accounts:list")


@login_not_required
@never_cache
@sensitive_post_parameters("password1", "password2")
@require_http_methods(["GET", "POST"])
def open_invitation(request: HttpRequest, token: str) -> HttpResponse:
    """Make the account one was invited to, and sign in with it."""
    found = invitations.find_invitation(token)
    if found is None:
        return render(request, "jobs/accounts/invitation_not_found.html", status=404)
    if why_not := invitations.get_end_reason(found):
        return _render_ended(request, found, why_not)
    if request.user.is_authenticated:
        return render(
            request, "jobs/accounts/already_signed_in.html", {"invitation": found}
        )
    form = AcceptInvitationForm(request.POST or None, address=found.address)
    if form.is_valid():
        try:
            person = call_service(
                form,
                lambda: invitations.accept_invitation(
                    invitation=found, **form.to_arguments()
                ),
            )
        except invitations.InvitationEndedError:
            fresh = invitations.find_invitation(token) or found
            return _render_ended(request, fresh, invitations.get_end_reason(fresh))
        if person is not None:
            login(request, person, AUTH_BACKEND)
            messages.success(request, f"Welcome, {person}.")
            return redirect("/")
    context = {
        "invitation": found,
        "jobs": found.jobs.order_by("number"),
        "form": form,
    }
    status = 400 if form.is_bound else 200
    return render(
        request, "jobs/accounts/accept_invitation.html", context, status=status
    )


def _render_ended(
    request: HttpRequest, found: Invitation, why_not: str
) -> HttpResponse:
    context = {"invitation": found, "why_not": why_not}
    return render(request, "jobs/accounts/invitation_ended.html", context, status=410)
