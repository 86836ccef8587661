"""Addresses of letters, calendars and webhooks."""

from django.urls import path

from jobs.notices import views

app_name = "notices"
urlpatterns = [
    path("account/letters/", views.choose, name="letters"),
    path("account/letters/calendar/", views.calendar_key, name="calendar_key"),
    path("letters/stop/<str:token>/", views.stop, name="stop"),
    path("calendar/<str:token>.ics", views.feed, name="calendar"),
    path("webhooks/", views.listed, name="webhooks"),
    path("webhooks/<int:pk>/", views.one, name="webhook"),
    path("webhooks/<int:pk>/switch/", views.switch, name="webhook_switch"),
    path("webhooks/<int:pk>/secret/", views.secret, name="webhook_secret"),
    path("webhooks/<int:pk>/trial/", views.trial, name="webhook_trial"),
    path("webhooks/<int:pk>/remove/", views.remove, name="webhook_remove"),
]
