"""Addresses of the drawn pages of a building; `checks.urls` includes them."""

from django.urls import path

from checks.views import as_built

plan_urlpatterns = [
    path(
        "buildings/<int:pk>/positions/<path:mark>/", as_built.position, name="position"
    ),
    path("buildings/<int:pk>/checks/<path:key>/", as_built.check, name="check"),
    path("buildings/<int:pk>/levels/", as_built.levels, name="levels"),
    path("buildings/<int:pk>/shims/", as_built.shims, name="shims"),
    path(
        "buildings/<int:pk>/export/",
        as_built.download_document,
        name="building_document",
    ),
    path(
        "buildings/<int:pk>/export/result/",
        as_built.download_result,
        name="building_result",
    ),
]
