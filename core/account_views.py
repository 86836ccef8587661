"""Pages of one's own account: devices, profile and password."""

import math
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import views as auth_views
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import PasswordChangeForm, SetPasswordForm
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import (
    require_GET,
    require_http_methods,
    require_POST,
)
from rest_framework.throttling import BaseThrottle

from core import devices, passwords, tasks
from core.accounts import change_email, change_name
from core.context_processors import build_account_tabs
from core.forms import (
    EmailAddressForm,
    NameForm,
    PasswordResetRequestForm,
    PreferencesForm,
)
from core.models import Device, Person
from core.requests import AuthenticatedRequest


@require_GET
def account(request: AuthenticatedRequest) -> HttpResponse:
    """Show the account and the devices it is signed in on."""
    signed_in = list(Device.objects.of(request.user).signed_in())
    this_hash = devices.hash_session_key(request.session.session_key or "")
    context = {
        "tabs": build_account_tabs(request.path),
        "devices": [(each, each.session_hash == this_hash) for each in signed_in],
        "others": any(each.session_hash != this_hash for each in signed_in),
    }
    return render(request, "core/account.html", context)


@require_http_methods(["GET", "POST"])
def profile(request: AuthenticatedRequest) -> HttpResponse:
    """Show name, e-mail address and preferences, and change the name."""
    form = NameForm(request.POST or None, initial=_get_names(request.user))
    if form.is_valid():
        if change_name(actor=request.user, **form.cleaned_data):
            messages.success(request, "Name changed.")
        return redirect("profile")
    return _render_profile(request, name_form=form)


@require_POST
def save_email_address(request: AuthenticatedRequest) -> HttpResponse:
    """Change the e-mail address, with the password or a passkey as signature."""
    form = EmailAddressForm(request.POST, request=request)
    if form.is_valid():
        if change_email(actor=request.user, email=form.cleaned_data["email"]):
            messages.success(request, "E-mail address changed.")
        return redirect("profile")
    return _render_profile(request, email_form=form)


def _render_profile(
    request: AuthenticatedRequest,
    name_form: NameForm | None = None,
    email_form: EmailAddressForm | None = None,
) -> HttpResponse:
    """Render the profile; the form that was sent comes with its errors."""
    person = request.user
    preferences = {
        "units": person.units,
        "theme": person.theme,
        "time_zone": person.time_zone,
    }
    context = {
        "tabs": build_account_tabs(request.path),
        "name_form": name_form or NameForm(initial=_get_names(person)),
        "email_form": email_form
        or EmailAddressForm(request=request, initial={"email": person.email}),
        "preferences_form": PreferencesForm(initial=preferences),
    }
    sent = email_form or name_form
    status = 400 if sent is not None and sent.is_bound else 200
    return render(request, "core/profile.html", context, status=status)


def _get_names(person: Person) -> dict[str, str]:
    return {"first_name": person.first_name, "last_name": person.last_name}


@require_POST
def sign_out_device(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """End the session of one of one's own devices."""
    device = get_object_or_404(Device.objects.of(request.user), pk=pk)
    devices.end_device_session(actor=request.user, device=device)
    messages.success(request, f"Signed out: {device}.")
    return redirect("account")


@require_POST
def sign_out_others(request: AuthenticatedRequest) -> HttpResponse:
    """End all of one's own sessions but this one."""
    ended = devices.end_other_sessions(
        actor=request.user, session_key=request.session.session_key
    )
    others = "1 other device" if ended == 1 else f"{ended} other devices"
    messages.success(request, f"Signed out on {others}.")
    return redirect("account")


class SignOutView(auth_views.LogoutView):
    """Signs out on this device."""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        """End the session."""
        key = request.session.session_key
        response = super().post(request, *args, **kwargs)
        devices.record_sign_out(key)
        return response


@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def request_password_reset(request: HttpRequest) -> HttpResponse:
    """Send a password link; the answer does not tell whether an account exists."""
    form = PasswordResetRequestForm(request.POST or None)
    if not form.is_valid():
        status = 400 if form.is_bound else 200
        page = "core/request_password_reset.html"
        return render(request, page, {"form": form}, status=status)
    address = form.cleaned_data["address"]
    # The API's throttle knows how many proxies stand in front of the server.
    client = BaseThrottle().get_ident(request)  # type: ignore[arg-type]
    if wait_s := passwords.count_reset_request(address, client):
        context = {"minutes": math.ceil(wait_s / 60)}
        response = render(request, "core/too_many_requests.html", context, status=429)
        response["Retry-After"] = str(math.ceil(wait_s))
        return response
    # The link starts with the site's own address, not with the Host header.
    transaction.on_commit(
        lambda: tasks.email_password_links.delay(address, settings.PUBLIC_URL),
        robust=True,
    )
    messages.success(request, "If this address has an account, it gets an e-mail.")
    return redirect("sign-in")


class SetPasswordView(auth_views.PasswordResetConfirmView):
    """Sets a new password by an e-mailed link, and ends every session."""

    template_name = "core/set_password.html"
    success_url = reverse_lazy("sign-in")

    def get_user(self, uidb64: str) -> Person | None:
        """Return the owner of the link; a closed account has none."""
        person = super().get_user(uidb64)
        return person if isinstance(person, Person) and person.is_active else None

    def form_valid(self, form: "SetPasswordForm[Person]") -> HttpResponse:
        """Set the password, and end every session that the old one opened."""
        response = super().form_valid(form)
        devices.end_all_access(form.user)
        passwords.record_password_set(form.user)
        messages.success(self.request, "Password set. Sign in with it.")
        return response


class ChangePasswordView(auth_views.PasswordChangeView):
    """Changes one's own password, and signs out every other device."""

    template_name = "core/change_password.html"
    success_url = reverse_lazy("password-changed")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the tabs of the account."""
        tabs = build_account_tabs(self.request.path)
        return super().get_context_data(**kwargs, tabs=tabs)

    def form_valid(self, form: PasswordChangeForm) -> HttpResponse:
        """Change the password; this device stays signed in under a new session key."""
        request = self.request
        before = request.session.session_key
        response = super().form_valid(form)
        devices.rotate_session_key(
            actor=form.user, before=before, session_key=request.session.session_key
        )
        return response
