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

from core.requests import PersonRequest
from jobs.models import Job
from jobs.people import invitations, tasks
from jobs.people.forms import AcceptForm, InviteForm
from jobs.people.models import Invitation
from jobs.refusing import attempt

BACKEND = "django.contrib.auth.backends.ModelBackend"


@never_cache
@require_http_methods(["GET", "POST"])
def invite(request: PersonRequest) -> HttpResponse:
    """Invite somebody; this answer alone shows the link, and a letter carries it."""
    jobs = invitations.jobs_to_invite_to(request.user)
    if not (request.user.is_administrator or jobs.exists()):
        raise PermissionDenied("Whoever runs a job invites people onto it.")
    onto = _asked_for(jobs, request.GET.get("job", ""))
    form = InviteForm(
        request.POST or None,
        actor=request.user,
        initial={"jobs": onto.number if onto else ""},
    )
    if form.is_valid() and (made := _invited(request, form)):
        site = request.build_absolute_uri("/")
        _send(made, site)
        context = {"made": made, "link": invitations.link_of(made, site)}
        return render(request, "jobs/people/invited.html", context)
    status = 400 if form.is_bound else 200
    context = {"form": form, "days": invitations.VALID_FOR.days}
    return render(request, "jobs/people/invite.html", context, status=status)


def _asked_for(jobs: QuerySet[Job], pk: str) -> Job | None:
    known = pk.isdecimal() and len(pk) < 18
    return jobs.filter(pk=pk).first() if known else None


def _invited(request: PersonRequest, form: InviteForm) -> Invitation | None:
    return attempt(
        form, lambda: invitations.invite(actor=request.user, **form.cleaned_data)
    )


def _send(invitation: Invitation, site: str) -> None:
    """Queue the letter; a queue that is down costs the letter, not the invitation."""
    transaction.on_commit(
        lambda: tasks.send_invitation.delay(str(invitation.pk), site), robust=True
    )


@require_POST
def revoke(request: PersonRequest, invitation_id: str) -> HttpResponse:
    """Take an invitation back."""
    seen = Invitation.objects.visible_to(request.user)
    found = get_object_or_404(seen, pk=invitation_id)
    try:
        invitations.revoke(actor=request.user, invitation=found)
    except invitations.InvitationEndedError as error:
        messages.warning(request, str(error))
    else:
        messages.success(request, f"Revoked: {found.address}. The link is refused now.")
    return redirect("people:list")


@login_not_required
@never_cache
@sensitive_post_parameters("password1", "password2")
@require_http_methods(["GET", "POST"])
def invitation(request: HttpRequest, token: str) -> HttpResponse:
    """Make the account one was invited to, and sign in with it."""
    found = invitations.invitation_by(token)
    if found is None:
        return render(request, "jobs/people/no_invitation.html", status=404)
    if why_not := invitations.why_not(found):
        return _ended(request, found, why_not)
    if request.user.is_authenticated:
        return render(request, "jobs/people/signed_in.html", {"invitation": found})
    form = AcceptForm(request.POST or None, address=found.address)
    if form.is_valid():
        try:
            person = attempt(
                form, lambda: invitations.accept(invitation=found, **form.entered())
            )
        except invitations.InvitationEndedError:
            fresh = invitations.invitation_by(token) or found
            return _ended(request, fresh, invitations.why_not(fresh))
        if person is not None:
            login(request, person, BACKEND)
            messages.success(request, f"Welcome, {person}.")
            return redirect("/")
    context = {
        "invitation": found,
        "jobs": found.jobs.order_by("number"),
        "form": form,
    }
    status = 400 if form.is_bound else 200
    return render(request, "jobs/people/accept.html", context, status=status)


def _ended(request: HttpRequest, found: Invitation, why_not: str) -> HttpResponse:
    context = {"invitation": found, "why_not": why_not}
    return render(request, "jobs/people/ended.html", context, status=410)
