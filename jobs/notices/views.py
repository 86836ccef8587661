"""Letters, the calendar and other programs: what a person chooses and looks after."""

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.cache import get_conditional_response
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import (
    require_GET,
    require_http_methods,
    require_POST,
    require_safe,
)

from core.context_processors import account_tabs
from core.permissions import Action, require
from core.requests import PersonRequest
from jobs.notices import calendar, delivering, letters, queries, webhooks
from jobs.notices.forms import LettersForm, WebhookForm
from jobs.notices.models import CalendarKey, Letter, Webhook
from jobs.notices.sending import Limits
from jobs.notices.signatures import WINDOW_S
from jobs.refusing import attempt


@never_cache
@require_http_methods(["GET", "POST"])
def choose(request: PersonRequest) -> HttpResponse:
    """Choose one's letters."""
    chosen = letters.choices_of(request.user)
    held = {name: getattr(chosen, name) for name in LettersForm.base_fields}
    form = LettersForm(request.POST or None, initial=held)
    if form.is_valid():
        letters.choose(actor=request.user, **form.cleaned_data)
        messages.success(request, "Kept.")
        return redirect("notices:letters")
    return _letters_page(request, form)


@never_cache
@require_POST
def calendar_key(request: PersonRequest) -> HttpResponse:
    """Make a secret address for one's calendar, or take it back."""
    if request.POST.get("do") != "make":
        calendar.revoke_key(actor=request.user)
        messages.success(request, "The address is taken back.")
        return redirect("notices:letters")
    address = calendar.make_key(actor=request.user)
    chosen = letters.choices_of(request.user)
    held = {name: getattr(chosen, name) for name in LettersForm.base_fields}
    return _letters_page(request, LettersForm(initial=held), address)


def _letters_page(
    request: PersonRequest, form: LettersForm, address: str = ""
) -> HttpResponse:
    context = {
        "tabs": account_tabs(request.path),
        "form": form,
        "key": CalendarKey.objects.filter(person=request.user).first(),
        "address": address,
        "may_tell_programs": queries.may_tell_programs(request.user),
    }
    status = 400 if form.errors else 200
    return render(request, "jobs/letters.html", context, status=status)


@csrf_exempt  # RFC 8058 section 3.1: a mail program posts, without a cookie
@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def stop(request: HttpRequest, token: str) -> HttpResponse:
    """Turn a kind of letter off, for whoever has one; whose they are is not said."""
    kind = letters.kind_of_token(token)
    if not kind:
        raise Http404
    if request.method == "POST":
        letters.stop(token)
    context = {
        "stopped": request.method == "POST",
        "what": Letter.Kind(kind).label,
    }
    return render(request, "jobs/stop_letters.html", context)


@login_not_required
@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """Give a person's calendar to whoever has its address."""
    key = calendar.key_of_token(token)
    if key is None:
        raise Http404
    feed = calendar.feed_of(key)
    answer = HttpResponse(feed.body, content_type="text/calendar; charset=utf-8")
    answer["Content-Disposition"] = 'inline; filename="padstone.ics"'
    answer["Cache-Control"] = "private, no-cache"
    answer["ETag"] = feed.etag
    answer["Last-Modified"] = feed.last_modified
    found = get_conditional_response(
        request, feed.etag, int(feed.changed_at.timestamp()), answer
    )
    return found or answer


@never_cache
@require_http_methods(["GET", "POST"])
def listed(request: PersonRequest) -> HttpResponse:
    """Look after webhooks, and register another."""
    roles = queries.roles_anywhere(request.user)
    require(request.user, Action.TELL_PROGRAMS, roles=roles)
    form = WebhookForm(
        request.POST or None,
        actor=request.user,
        initial={"job": request.GET.get("job", "")},
    )
    if form.is_valid() and (
        made := attempt(
            form,
            lambda: webhooks.register(actor=request.user, **form.cleaned_data),
        )
    ):
        webhook, secret = made
        return _webhook_page(request, webhook, secret)
    context = {"form": form, "webhooks": queries.webhooks_of(request.user)}
    status = 400 if form.is_bound else 200
    return render(request, "jobs/webhooks.html", context, status=status)


@never_cache
@require_GET
def one(request: PersonRequest, pk: int) -> HttpResponse:
    """Show a webhook and its last deliveries."""
    return _webhook_page(request, _seen(request, pk))


@never_cache
@require_POST
def secret(request: PersonRequest, pk: int) -> HttpResponse:
    """Give a webhook another secret, and show it this once."""
    webhook = _seen(request, pk)
    made = webhooks.renew_secret(actor=request.user, webhook=webhook)
    return _webhook_page(request, webhook, made)


@require_POST
def switch(request: PersonRequest, pk: int) -> HttpResponse:
    """Switch a webhook on or off."""
    webhook = _seen(request, pk)
    on = request.POST.get("on") == "yes"
    webhooks.switch(actor=request.user, webhook=webhook, on=on)
    messages.success(request, "Switched on." if on else "Switched off.")
    return redirect("notices:webhook", pk)


@require_POST
def trial(request: PersonRequest, pk: int) -> HttpResponse:
    """Send a trial to a webhook and say what came of it."""
    delivery = delivering.try_now(actor=request.user, webhook=_seen(request, pk))
    if delivery.fault:
        messages.error(request, f"The trial was not taken. {delivery.fault}")
    else:
        messages.success(request, f"The trial was taken: {delivery.status}.")
    return redirect("notices:webhook", pk)


@require_POST
def remove(request: PersonRequest, pk: int) -> HttpResponse:
    """Remove a webhook with its deliveries."""
    webhooks.remove(actor=request.user, webhook=_seen(request, pk))
    messages.success(request, "Removed.")
    return redirect("notices:webhooks")


def _seen(request: PersonRequest, pk: int) -> Webhook:
    seen = Webhook.objects.visible_to(request.user).select_related("job", "owner")
    webhook = get_object_or_404(seen, pk=pk)
    webhooks.require_may(request.user, webhook.job)
    return webhook


def _webhook_page(
    request: PersonRequest, webhook: Webhook, secret: str = ""
) -> HttpResponse:
    context = {
        "webhook": webhook,
        "kinds": queries.kinds_of(webhook),
        "rows": queries.last_deliveries(webhook),
        "why_not": webhooks.why_not(webhook),
        "secret": secret,
        "keyid": delivering.keyid_of(webhook),
        "window_minutes": WINDOW_S // 60,
        "within_seconds": int(Limits().whole_s),
    }
    return render(request, "jobs/webhook.html", context)
