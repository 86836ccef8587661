"""Addresses of the interface, below /api/v1/; none ends in a slash."""

from django.urls import path, re_path

from api.views import evaluate, readings, schemas

app_name = "api"
urlpatterns = [
    path("evaluate", evaluate.Evaluate.as_view(), name="evaluate"),
    path("buildings/<int:pk>/checks", readings.Checks.as_view(), name="checks"),
    path("buildings/<int:pk>/readings", readings.Readings.as_view(), name="readings"),
    path(
        "schemas/<str:name>.json",
        schemas.DocumentSchema.as_view(),
        name="document-schema",
    ),
    path("schema", schemas.Description.as_view(), name="schema"),
    path("docs", schemas.Pages.as_view(), name="docs"),
    re_path(r"", schemas.Nothing.as_view(), name="nothing"),
]
