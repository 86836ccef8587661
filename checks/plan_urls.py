"""Addresses of the drawn pages of a building; `checks.urls` includes them."""

from django.urls import path

from checks.views import plans

plan_urlpatterns = [
    path("buildings/<int:pk>/positions/<path:mark>/", plans.position, name="position"),
    path("buildings/<int:pk>/checks/<path:key>/", plans.check, name="check"),
    path("buildings/<int:pk>/levels/", plans.levels, name="levels"),
    path("buildings/<int:pk>/shims/", plans.shims, name="shims"),
    path("buildings/<int:pk>/export/", plans.export, name="export"),
    path("buildings/<int:pk>/export/result/", plans.export_result, name="result"),
]
