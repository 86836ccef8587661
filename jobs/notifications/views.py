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

from core.context_processors import build_account_tabs
from core.form_errors import call_service
from core.permissions import Action, require
from core.requests import AuthenticatedRequest
from jobs.notifications import (
    calendar_feed,
    emails,
    queries,
    webhook_delivery,
    webhooks,
)
from jobs.notifications.forms import EmailPreferencesForm, WebhookForm
from jobs.notifications.http_post import PostTimeouts
from jobs.notifications.http_signatures import SIGNATURE_LIFETIME_S
from jobs.notifications.models import CalendarKey, Letter, Webhook


@never_cache
@require_http_methods(["GET", "POST"])
def email_preferences(request: AuthenticatedRequest) -> HttpResponse:
    """Choose one's letters."""
    chosen = emails.get_preferences(request.user)
    held = {name: getattr(chosen, name) for name in EmailPreferencesForm.base_fields}
    form = EmailPreferencesForm(request.POST or None, initial=held)
    if form.is_valid():
        emails.save_preferences(actor=request.user, **form.cleaned_data)
        messages.success(request, "Kept.")
        return redirect("notifications:email_preferences")
    return _render_preferences(request, form)


@never_cache
@require_POST
def change_calendar_key(request: AuthenticatedRequest) -> HttpResponse:
    """Make a secret address for one's calendar, or take it back."""
    if request.POST.get("do") != "make":
        calendar_feed.revoke_calendar_key(actor=request.user)
        messages.success(request, "The address is taken back.")
        return redirect("notifications:email_preferences")
    address = calendar_feed.create_calendar_key(actor=request.user)
    chosen = emails.get_preferences(request.user)
    held = {name: getattr(chosen, name) for name in EmailPreferencesForm.base_fields}
    return _render_preferences(request, EmailPreferencesForm(initial=held), address)


def _render_preferences(
    request: AuthenticatedRequest, form: EmailPreferencesForm, address: str = ""
) -> HttpResponse:
    context = {
        "tabs": build_account_tabs(request.path),
        "form": form,
        "key": CalendarKey.objects.filter(person=request.user).first(),
        "address": address,
        "may_tell_programs": queries.may_manage_webhooks(request.user),
    }
    status = 400 if form.errors else 200
    return render(
        request, "jobs/notifications/email_preferences.html", context, status=status
    )


@csrf_exempt  # RFC 8058 section 3.1: a mail program posts, without a cookie
@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def unsubscribe_page(request: HttpRequest, token: str) -> HttpResponse:
    """Turn a kind of letter off, for whoever has one; whose they are is not said."""
    kind = emails.read_unsubscribe_kind(token)
    if not kind:
        raise Http404
    if request.method == "POST":
        emails.unsubscribe(token)
    context = {
        "stopped": request.method == "POST",
        "what": Letter.Kind(kind).label,
    }
    return render(request, "jobs/notifications/unsubscribe.html", context)


@login_not_required
@require_safe
def calendar_feed_file(request: HttpRequest, token: str) -> HttpResponse:
    """Give a person's calendar to whoever has its address."""
    key = calendar_feed.find_calendar_key(token)
    if key is None:
        raise Http404
    feed = calendar_feed.render_feed(key)
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
def webhook_list(request: AuthenticatedRequest) -> HttpResponse:
    """Look after webhooks, and register another."""
    roles = queries.list_all_roles(request.user)
    require(request.user, Action.MANAGE_WEBHOOKS, roles=roles)
    form = WebhookForm(
        request.POST or None,
        actor=request.user,
        initial={"job": request.GET.get("job", "")},
    )
    if form.is_valid() and (
        made := call_service(
            form,
            lambda: webhooks.register_webhook(actor=request.user, **form.cleaned_data),
        )
    ):
        webhook, secret = made
        return _render_webhook(request, webhook, secret)
    context = {"form": form, "webhooks": queries.list_managed_webhooks(request.user)}
    status = 400 if form.is_bound else 200
    return render(
        request, "jobs/notifications/webhook_list.html", context, status=status
    )


@never_cache
@require_GET
def webhook_detail(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Show a webhook and its last deliveries."""
    return _render_webhook(request, _get_webhook(request, pk))


@never_cache
@require_POST
def replace_webhook_secret(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Give a webhook another secret, and show it this once."""
    webhook = _get_webhook(request, pk)
    made = webhooks.renew_webhook_secret(actor=request.user, webhook=webhook)
    return _render_webhook(request, webhook, made)


@require_POST
def toggle_webhook(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Switch a webhook on or off."""
    webhook = _get_webhook(request, pk)
    on = request.POST.get("on") == "yes"
    webhooks.switch_webhook(actor=request.user, webhook=webhook, on=on)
    messages.success(request, "Switched on." if on else "Switched off.")
    return redirect("notifications:webhook", pk)


@require_POST
def test_webhook(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Send a trial to a webhook and say what came of it."""
    delivery = webhook_delivery.send_test_event(
        actor=request.user, webhook=_get_webhook(request, pk)
    )
    if delivery.fault:
        messages.error(request, f"The trial was not taken. {delivery.fault}")
    else:
        messages.success(request, f"The trial was taken: {delivery.status}.")
    return redirect("notifications:webhook", pk)


@require_POST
def delete_webhook(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Remove a webhook with its deliveries."""
    webhooks.remove_webhook(actor=request.user, webhook=_get_webhook(request, pk))
    messages.success(request, "Removed.")
    return redirect("notifications:webhooks")


def _get_webhook(request: AuthenticatedRequest, pk: int) -> Webhook:
    seen = Webhook.objects.visible_to(request.user).select_related("job", "owner")
    webhook = get_object_or_404(seen, pk=pk)
    webhooks.require_webhook_manager(request.user, webhook.job)
    return webhook


def _render_webhook(
    request: AuthenticatedRequest, webhook: Webhook, secret: str = ""
) -> HttpResponse:
    context = {
        "webhook": webhook,
        "kinds": queries.list_event_labels(webhook),
        "rows": queries.list_recent_deliveries(webhook),
        "why_not": webhooks.find_disable_reason(webhook),
        "secret": secret,
        "keyid": webhook_delivery.get_key_id(webhook),
        "window_minutes": SIGNATURE_LIFETIME_S // 60,
        "within_seconds": int(PostTimeouts().total_s),
    }
    return render(request, "jobs/notifications/webhook_detail.html", context)
