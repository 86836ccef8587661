"""The page of a person's crew tokens."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.timezone import now
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from api.forms import TokenForm
from api.models import CrewToken
from api.services import create_crew_token, revoke_token
from core.context_processors import build_account_tabs
from core.requests import AuthenticatedRequest


@never_cache
@require_http_methods(["GET", "POST"])
def token_list(request: AuthenticatedRequest) -> HttpResponse:
    """List the person's tokens; create one and show its text this once."""
    form = TokenForm(request.POST or None)
    made, text = None, ""
    if form.is_valid():
        made, text = create_crew_token(actor=request.user, **form.cleaned_data)
        form = TokenForm()
    mine = CrewToken.objects.owned_by(request.user).select_related("token")
    context = {
        "tabs": build_account_tabs(request.path),
        "form": form,
        "made": made,
        "text": text,
        "tokens": mine.exclude(token__expiry__lte=now()),
    }
    status = 400 if form.errors else 200
    return render(request, "api/tokens.html", context, status=status)


@require_POST
def revoke_token_view(request: AuthenticatedRequest, pk: str) -> HttpResponse:
    """Revoke one of the person's own tokens."""
    token = get_object_or_404(CrewToken.objects.owned_by(request.user), pk=pk)
    revoke_token(actor=request.user, token=token)
    messages.success(request, f"Token revoked: {token}.")
    return redirect("tokens:list")
