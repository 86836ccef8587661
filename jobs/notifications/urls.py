"""URLs of e-mail preferences, calendar feeds and webhooks."""

from django.urls import path

from jobs.notifications import views

app_name = "notifications"
urlpatterns = [
    path("account/notifications/", views.email_preferences, name="email_preferences"),
    path("account/calendar/", views.change_calendar_key, name="calendar_key"),
    path("unsubscribe/<str:token>/", views.unsubscribe_page, name="unsubscribe"),
    path("calendar/<str:token>.ics", views.calendar_feed_file, name="calendar"),
    path("webhooks/", views.webhook_list, name="webhooks"),
    path("webhooks/<int:pk>/", views.webhook_detail, name="webhook"),
    path("webhooks/<int:pk>/switch/", views.toggle_webhook, name="webhook_switch"),
    path(
        "webhooks/<int:pk>/secret/",
        views.replace_webhook_secret,
        name="webhook_secret",
    ),
    path("webhooks/<int:pk>/test/", views.send_webhook_test, name="webhook_test"),
    path("webhooks/<int:pk>/remove/", views.delete_webhook, name="webhook_remove"),
]
