"""Pages to invite a person, revoke an invitation and accept one."""

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
from jobs.accounts.invitations import EndReason
from jobs.accounts.models import Invitation
from jobs.models import Job

AUTH_BACKEND = "django.contrib.auth.backends.ModelBackend"
END_HEADINGS = {
    EndReason.USED: "This invitation was used already",
    EndReason.REVOKED: "This invitation was revoked",
    EndReason.EXPIRED: "This invitation has expired",
    EndReason.INVALID: "This invitation is no longer valid",
}


@never_cache
@require_http_methods(["GET", "POST"])
def invite_person(request: AuthenticatedRequest) -> HttpResponse:
    """Invite a person; only this response and the e-mail show the link."""
    jobs = invitations.list_invitable_jobs(request.user)
    if not (request.user.is_administrator or jobs.exists()):
        raise PermissionDenied("Only operations managers can invite people to a job.")
    job = _get_preselected_job(jobs, request.GET.get("job", ""))
    form = InvitationForm(
        request.POST or None,
        actor=request.user,
        initial={"jobs": job.number if job else ""},
    )
    if form.is_valid() and (invitation := _create_invitation(request, form)):
        site = request.build_absolute_uri("/")
        _queue_invitation_email(invitation, site)
        context = {
            "invitation": invitation,
            "link": invitations.build_link(invitation, site),
        }
        return render(request, "jobs/accounts/invitation_created.html", context)
    status = 400 if form.is_bound else 200
    context = {"form": form, "days": invitations.INVITATION_LIFETIME.days}
    return render(request, "jobs/accounts/invite_person.html", context, status=status)


def _get_preselected_job(jobs: QuerySet[Job], pk: str) -> Job | None:
    # Longer than any key: the database would refuse the number as out of range.
    is_key = pk.isdecimal() and len(pk) < 18
    return jobs.filter(pk=pk).first() if is_key else None


def _create_invitation(
    request: AuthenticatedRequest, form: InvitationForm
) -> Invitation | None:
    return call_service(
        form,
        lambda: invitations.create_invitation(actor=request.user, **form.cleaned_data),
    )


def _queue_invitation_email(invitation: Invitation, site: str) -> None:
    """Queue the e-mail; if the queue is down, the invitation is kept all the same."""
    transaction.on_commit(
        lambda: tasks.send_invitation.delay(str(invitation.pk), site), robust=True
    )


@require_POST
def withdraw_invitation(
    request: AuthenticatedRequest, invitation_id: str
) -> HttpResponse:
    """Revoke an invitation."""
    visible = Invitation.objects.visible_to(request.user)
    invitation = get_object_or_404(visible, pk=invitation_id)
    try:
        invitations.revoke_invitation(actor=request.user, invitation=invitation)
    except invitations.InvitationEndedError as error:
        messages.warning(request, f"{END_HEADINGS[error.reason]}.")
    else:
        messages.success(request, f"Invitation of {invitation.address} revoked.")
    return redirect("accounts:list")


# The address holds the token: no cache and no error report may keep it.
@login_not_required
@never_cache
@sensitive_post_parameters("password1", "password2")
@require_http_methods(["GET", "POST"])
def open_invitation(request: HttpRequest, token: str) -> HttpResponse:
    """Create the account of an invitation, and sign in with it."""
    invitation = invitations.find_invitation(token)
    if invitation is None:
        return render(request, "jobs/accounts/invitation_not_found.html", status=404)
    if reason := invitations.get_end_reason(invitation):
        return _render_ended(request, invitation, reason)
    context: dict[str, object] = {"invitation": invitation}
    if request.user.is_authenticated:
        return render(request, "jobs/accounts/already_signed_in.html", context)
    form = AcceptInvitationForm(request.POST or None, address=invitation.address)
    if form.is_valid():
        try:
            person = call_service(
                form,
                lambda: invitations.accept_invitation(
                    invitation=invitation, **form.to_arguments()
                ),
            )
        except invitations.InvitationEndedError as error:
            # Somebody else was faster: show when the invitation was used.
            invitation.refresh_from_db()
            return _render_ended(request, invitation, error.reason)
        if person is not None:
            login(request, person, AUTH_BACKEND)
            messages.success(request, f"Welcome, {person}.")
            return redirect("/")
    context |= {"jobs": invitation.jobs.order_by("number"), "form": form}
    status = 400 if form.is_bound else 200
    return render(
        request, "jobs/accounts/accept_invitation.html", context, status=status
    )


def _render_ended(
    request: HttpRequest, invitation: Invitation, reason: EndReason
) -> HttpResponse:
    context = {
        "invitation": invitation,
        "reason": reason.value,
        "heading": END_HEADINGS[reason],
    }
    return render(request, "jobs/accounts/invitation_ended.html", context, status=410)
