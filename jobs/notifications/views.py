"""Pages of e-mail preferences, the calendar feed and webhooks."""

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.http.response import HttpResponseBase
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
from jobs.notifications.models import CalendarKey, Email, Webhook


@never_cache
@require_http_methods(["GET", "POST"])
def email_preferences(request: AuthenticatedRequest) -> HttpResponse:
    """Show and save the e-mail preferences."""
    form = _preferences_form(request, request.POST or None)
    if form.is_valid():
        emails.save_preferences(actor=request.user, **form.cleaned_data)
        messages.success(request, "Saved.")
        return redirect("notifications:email_preferences")
    return _render_preferences(request, form)


@never_cache
@require_POST
def change_calendar_key(request: AuthenticatedRequest) -> HttpResponse:
    """Create or revoke the secret calendar address."""
    if request.POST.get("do") != "create":
        calendar_feed.revoke_calendar_key(actor=request.user)
        messages.success(request, "Calendar address revoked.")
        return redirect("notifications:email_preferences")
    address = calendar_feed.create_calendar_key(actor=request.user)
    return _render_preferences(request, _preferences_form(request), address)


def _preferences_form(
    request: AuthenticatedRequest, data: QueryDict | None = None
) -> EmailPreferencesForm:
    saved = emails.get_preferences(request.user)
    initial = {name: getattr(saved, name) for name in EmailPreferencesForm.base_fields}
    return EmailPreferencesForm(data, initial=initial)


def _render_preferences(
    request: AuthenticatedRequest, form: EmailPreferencesForm, address: str = ""
) -> HttpResponse:
    context = {
        "tabs": build_account_tabs(request.path),
        "form": form,
        "key": CalendarKey.objects.filter(person=request.user).first(),
        "address": address,
        "address_caution": "Anybody who has this address can read these dates.",
        "address_advice": "If somebody else got it, create a new one: the old one "
        "then stops working.",
        "may_manage_webhooks": queries.may_manage_webhooks(request.user),
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
    """Unsubscribe by signed link, without revealing the recipient."""
    kind = emails.read_unsubscribe_kind(token)
    if not kind:
        raise Http404
    if request.method == "POST":
        emails.unsubscribe(token)
    context = {
        "unsubscribed": request.method == "POST",
        "kind_label": Email.Kind(kind).label,
    }
    return render(request, "jobs/notifications/unsubscribe.html", context)


@login_not_required
@require_safe
def calendar_feed_file(request: HttpRequest, token: str) -> HttpResponseBase:
    """Return the calendar feed of a secret address."""
    key = calendar_feed.find_calendar_key(token)
    if key is None:
        raise Http404
    feed = calendar_feed.render_feed(key)
    response = HttpResponse(feed.body, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'inline; filename="padstone.ics"'
    response["Cache-Control"] = "private, no-cache"
    response["ETag"] = feed.etag
    response["Last-Modified"] = feed.last_modified
    conditional = get_conditional_response(
        request, feed.etag, int(feed.changed_at.timestamp()), response
    )
    return conditional or response


@never_cache
@require_http_methods(["GET", "POST"])
def webhook_list(request: AuthenticatedRequest) -> HttpResponse:
    """List the webhooks, and register another."""
    roles = queries.list_all_roles(request.user)
    require(request.user, Action.MANAGE_WEBHOOKS, roles=roles)
    form = WebhookForm(
        request.POST or None,
        actor=request.user,
        initial={"job": request.GET.get("job", "")},
    )
    if form.is_valid() and (
        registered := call_service(
            form,
            lambda: webhooks.register_webhook(actor=request.user, **form.cleaned_data),
        )
    ):
        webhook, secret = registered
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
    """Replace a webhook's secret, and show the new one this once."""
    webhook = _get_webhook(request, pk)
    secret = webhooks.renew_webhook_secret(actor=request.user, webhook=webhook)
    return _render_webhook(request, webhook, secret)


@require_POST
def toggle_webhook(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Switch a webhook on or off."""
    on = request.POST.get("on") == "yes"
    webhooks.switch_webhook(
        actor=request.user, webhook=_get_webhook(request, pk), on=on
    )
    state = "on" if on else "off"
    messages.success(request, f"Webhook switched {state}.")
    return redirect("notifications:webhook", pk)


@require_POST
def send_webhook_test(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Send a test event to a webhook and report the response."""
    delivery = webhook_delivery.send_test_event(
        actor=request.user, webhook=_get_webhook(request, pk)
    )
    if delivery.accepted_at is None:
        messages.error(request, f"The test event was not accepted. {delivery.error}")
    else:
        messages.success(request, f"The test event was accepted: {delivery.status}.")
    return redirect("notifications:webhook", pk)


@require_POST
def delete_webhook(request: AuthenticatedRequest, pk: int) -> HttpResponse:
    """Delete a webhook with its deliveries."""
    webhooks.remove_webhook(actor=request.user, webhook=_get_webhook(request, pk))
    messages.success(request, "Webhook deleted.")
    return redirect("notifications:webhooks")


def _get_webhook(request: AuthenticatedRequest, pk: int) -> Webhook:
    visible = Webhook.objects.visible_to(request.user).select_related("job", "owner")
    webhook = get_object_or_404(visible, pk=pk)
    webhooks.require_webhook_manager(request.user, webhook.job)
    return webhook


def _render_webhook(
    request: AuthenticatedRequest, webhook: Webhook, secret: str = ""
) -> HttpResponse:
    problem = webhooks.find_disable_reason(webhook)
    context = {
        "webhook": webhook,
        "event_labels": queries.list_event_labels(webhook),
        "rows": queries.list_recent_deliveries(webhook),
        "disabled_text": queries.describe_disabled(webhook),
        "problem": queries.disabled_message(webhook, problem) if problem else "",
        "secret": secret,
        "keyid": webhook_delivery.get_key_id(webhook),
        "lifetime_minutes": SIGNATURE_LIFETIME_S // 60,
        "timeout_seconds": int(PostTimeouts().total_s),
    }
    return render(request, "jobs/notifications/webhook_detail.html", context)
