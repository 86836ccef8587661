"""One's own account: where one is signed in, and the password."""

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
from core.context_processors import build_account_tabs
from core.forms import PasswordResetRequestForm
from core.models import Device, Person
from core.requests import AuthenticatedRequest


@require_GET
def account(request: AuthenticatedRequest) -> HttpResponse:
    """Show who one is here, and on which devices one is signed in."""
    mine = list(Device.objects.of(request.user).signed_in())
    here = devices.hash_session_key(request.session.session_key or "")
    context = {
        "tabs": build_account_tabs(request.path),
        "devices": [(device, device.session_hash == here) for device in mine],
        "others": any(device.session_hash != here for device in mine),
    }
    return render(request, "core/account.html", context)


@require_POST
def sign_out_device(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """End the session of one of one's own devices."""
    device = get_object_or_404(Device.objects.of(request.user), pk=pk)
    devices.end_device_session(actor=request.user, device=device)
    messages.success(request, f"Signed out: {device}.")
    return redirect("account")


@require_POST
def sign_out_others(request: AuthenticatedRequest) -> HttpResponse:
    """End one's own sessions everywhere but here."""
    ended = devices.end_other_sessions(
        actor=request.user, session_key=request.session.session_key
    )
    others = "1 other device" if ended == 1 else f"{ended} other devices"
    messages.success(request, f"Signed out on {others}.")
    return redirect("account")


class SignOutView(auth_views.LogoutView):
    """Signs out here, and says so of the device."""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        """End the session."""
        key = request.session.session_key
        answer = super().post(request, *args, **kwargs)
        devices.record_sign_out(key)
        return answer


@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def request_password_reset(request: HttpRequest) -> HttpResponse:
    """Send a link to an address; answer alike, whether or not an account has it."""
    form = PasswordResetRequestForm(request.POST or None)
    if not form.is_valid():
        status = 400 if form.is_bound else 200
        page = "core/request_password_reset.html"
        return render(request, page, {"form": form}, status=status)
    address = form.cleaned_data["address"]
    # The proxies in front are counted here as they are for the interface.
    place = BaseThrottle().get_ident(request)  # type: ignore[arg-type]
    if wait_s := passwords.count_reset_request(address, place):
        context = {"minutes": math.ceil(wait_s / 60)}
        answer = render(request, "core/too_many_requests.html", context, status=429)
        answer["Retry-After"] = str(math.ceil(wait_s))
        return answer
    # The link begins with the house's own address, not with what a visitor called it.
    transaction.on_commit(
        lambda: tasks.email_password_links.delay(address, settings.PUBLIC_URL),
        robust=True,
    )
    messages.success(request, "If an account has this address, a letter goes to it.")
    return redirect("sign-in")


class SetPasswordView(auth_views.PasswordResetConfirmView):
    """Sets a new password for who has the link of a letter; ends every sign-in."""

    template_name = "core/set_password.html"
    success_url = reverse_lazy("sign-in")

    def get_user(self, uidb64: str) -> Person | None:
        """Find whose link it is; a closed account has none."""
        found = super().get_user(uidb64)
        return found if isinstance(found, Person) and found.is_active else None

    def form_valid(self, form: SetPasswordForm) -> HttpResponse:
        """Sign out whoever knew the old one."""
        answer = super().form_valid(form)
        devices.end_all_access(form.user)
        passwords.record_password_set(form.user)
        messages.success(self.request, "Your new password holds. Sign in with it.")
        return answer


class ChangePasswordView(auth_views.PasswordChangeView):
    """Changes one's own password; every other device is signed out by it."""

    template_name = "core/change_password.html"
    success_url = reverse_lazy("password-changed")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the other pages of the account."""
        tabs = build_account_tabs(self.request.path)
        return super().get_context_data(**kwargs, tabs=tabs)

    def form_valid(self, form: PasswordChangeForm) -> HttpResponse:
        """Keep this device signed in under its new key."""
        request = self.request
        before = request.session.session_key
        answer = super().form_valid(form)
        devices.rotate_session_key(
            actor=form.user, before=before, session_key=request.session.session_key
        )
        return answer
