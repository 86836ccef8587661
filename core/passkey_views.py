"""Pages of passkeys: list, add, remove, sign in, and the challenge to sign."""

from typing import Any

from django.contrib import messages
from django.contrib.auth import authenticate, login
from django.contrib.auth import views as auth_views
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST
from rest_framework.throttling import BaseThrottle

from core import passkeys, rate_limits
from core.context_processors import build_account_tabs
from core.models import Passkey
from core.requests import AuthenticatedRequest
from core.signing import AddPasskeyForm, AssertionForm, RemovePasskeyForm

CHALLENGE_WINDOW_S = 3600
# In an hour; a whole site may share one connection.
MAX_CHALLENGES_PER_CLIENT = 300


@login_not_required
@never_cache
@require_POST
def create_challenge(request: HttpRequest) -> HttpResponse:
    """Create the challenge that a passkey signs; 404 at an address without passkeys."""
    party = passkeys.relying_party_for(request)
    if party is None:
        raise Http404
    if not request.user.is_authenticated:
        # The challenge is kept in a session, which a visitor gets by this request.
        client = BaseThrottle().get_ident(request)  # type: ignore[arg-type]
        hit = rate_limits.hit(f"challenges to {client}", window_s=CHALLENGE_WINDOW_S)
        if hit.count > MAX_CHALLENGES_PER_CLIENT:
            return JsonResponse({}, status=429)
    options = passkeys.create_signing_options(request, party)
    return HttpResponse(options, content_type="application/json")


class SignInView(auth_views.LoginView):
    """Signs in with a user name and a password."""

    template_name = "core/sign_in.html"
    redirect_authenticated_user = True

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add whether passkeys work at this address."""
        offered = passkeys.relying_party_for(self.request) is not None
        return super().get_context_data(**kwargs, passkeys_offered=offered)


class PasskeySignInView(SignInView):
    """Signs in with a passkey, which names its owner itself."""

    form_class = AssertionForm  # type: ignore[assignment]

    def get(self, *args: Any, **kwargs: Any) -> HttpResponse:
        """Redirect to the sign-in page: this address only takes POST."""
        return redirect("sign-in")

    def form_valid(self, form: Any) -> HttpResponse:
        """Verify the passkey, with the same lock against guessing as a password."""
        assertion = form.cleaned_data["assertion"]
        passkey = passkeys.find_passkey(assertion)
        username = passkey.person.get_username() if passkey else None
        person = authenticate(self.request, username=username, assertion=assertion)
        if person is None:
            return self.form_invalid(form)
        login(self.request, person)
        return redirect(self.get_success_url())

    def form_invalid(self, form: Any) -> HttpResponse:
        """Show the sign-in page with the refusal of the passkey."""
        blank = AuthenticationForm(self.request)
        context = self.get_context_data(form=blank, refused=True)
        return self.render_to_response(context, status=400)


@require_http_methods(["GET", "POST"])
def list_passkeys(request: AuthenticatedRequest) -> HttpResponse:
    """List one's own passkeys, and start adding one."""
    party = passkeys.relying_party_for(request)
    form = AddPasskeyForm(request.POST or None, request=request)
    if party is not None and form.is_valid():
        passkeys.begin_registration(request, form.cleaned_data["name"])
        return redirect("make-passkey")
    context = {
        "tabs": build_account_tabs(request.path),
        "passkeys": list(Passkey.objects.of(request.user)),
        "form": form if party else None,
        "here": party.rp_id if party else "",
        "elsewhere": passkeys.public_origin(),
    }
    status = 400 if form.is_bound else 200
    return render(request, "core/passkeys.html", context, status=status)


@never_cache
@require_http_methods(["GET", "POST"])
def create_passkey(request: AuthenticatedRequest) -> HttpResponse:
    """Ask the browser to create the passkey, and register it."""
    party = passkeys.relying_party_for(request)
    if party is None:
        return redirect("passkeys")
    if request.method == "POST":
        return _register_passkey(request, party)
    pending = passkeys.create_registration_options(request, party)
    if pending is None:
        return redirect("passkeys")
    name, options = pending
    context = {
        "tabs": build_account_tabs(request.path),
        "name": name,
        "options": options,
        "form": AssertionForm(),
    }
    return render(request, "core/create_passkey.html", context)


def _register_passkey(
    request: AuthenticatedRequest, party: passkeys.RelyingParty
) -> HttpResponse:
    credential = request.POST.get("assertion", "")
    try:
        key = passkeys.register_passkey(
            actor=request.user, request=request, party=party, credential=credential
        )
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, f"Passkey added: {key}.")
    return redirect("passkeys")


@require_http_methods(["GET", "POST"])
def confirm_passkey_removal(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Remove one of one's own passkeys, with a signature."""
    key = get_object_or_404(Passkey.objects.of(request.user), pk=pk)
    form = RemovePasskeyForm(request.POST or None, request=request, key=key)
    if form.is_valid():
        passkeys.remove_passkey(actor=request.user, key=key)
        messages.success(request, f"Passkey removed: {key}.")
        return redirect("passkeys")
    context = {"tabs": build_account_tabs(request.path), "passkey": key, "form": form}
    status = 400 if form.is_bound else 200
    return render(request, "core/remove_passkey.html", context, status=status)
