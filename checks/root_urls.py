"""Addresses outside the `checks` namespace, which templates of `jobs` link to."""

from django.urls import path

from checks.views import building
from checks.views.audit_log import audit_log

urlpatterns = [
    path("buildings/<int:pk>/", building, name="building"),
    path("jobs/<int:pk>/trail/", audit_log, name="trail"),
]
