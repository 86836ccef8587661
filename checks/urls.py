"""Addresses of what is measured, found, decided and released."""

from django.urls import path

from checks.plan_urls import plan_urlpatterns
from checks.views import (
    concrete,
    files,
    findings,
    measure,
    methods,
    offline,
    photographs,
    points,
    readings,
    releases,
    reports,
    together,
    trail,
    uploads,
)

app_name = "checks"
urlpatterns = [
    *plan_urlpatterns,
    path("buildings/<int:pk>/sheet/", readings.sheet, name="sheet"),
    path("buildings/<int:pk>/measure/", measure.measure, name="measure"),
    path("buildings/<int:pk>/readings/", offline.receive, name="receive"),
    path("buildings/<int:pk>/record/", readings.record, name="record"),
    path("buildings/<int:pk>/record/upload/", uploads.upload, name="upload"),
    path("buildings/<int:pk>/record/points/", points.points, name="points"),
    path(
        "buildings/<int:pk>/record/readings.<str:kind>",
        files.readings,
        name="readings_file",
    ),
    path(
        "buildings/<int:pk>/sheet/readings.<str:kind>",
        files.blank_readings,
        name="blank_readings",
    ),
    path(
        "buildings/<int:pk>/export/building.<str:kind>",
        files.building,
        name="building_file",
    ),
    path(
        "buildings/<int:pk>/photographs/",
        photographs.receive,
        name="receive_photograph",
    ),
    path(
        "buildings/<int:pk>/photographs/<str:digest>.jpg",
        photographs.photograph,
        name="photograph",
    ),
    path("buildings/<int:pk>/concrete/", concrete.concrete, name="concrete"),
    path("buildings/<int:pk>/instruments/", readings.instrument, name="instrument"),
    path("jobs/<int:pk>/trail.csv", trail.trail_table, name="trail_table"),
    path("worker.js", offline.worker, name="worker"),
    path("offline/", offline.offline, name="offline"),
    path("findings/", findings.queue, name="findings"),
    path("findings/<int:pk>/", findings.finding, name="finding"),
    path("findings/<int:pk>/decide/", findings.decision, name="decide"),
    path("findings/<int:pk>/ask-again/", findings.again, name="ask_again"),
    path(
        "findings/<int:pk>/photographs/",
        photographs.of_finding,
        name="photograph_finding",
    ),
    path(
        "decisions/<int:pk>/photographs/",
        photographs.of_work,
        name="photograph_work",
    ),
    path("findings/<int:pk>/together/", together.together, name="together"),
    path("decisions/<int:pk>/carried-out/", findings.carried_out, name="carry_out"),
    path("buildings/<int:pk>/releases/", releases.releases, name="releases"),
    path("buildings/<int:pk>/releases/<slug:kind>/", releases.sign, name="sign"),
    path("releases/<int:pk>/", releases.release, name="release"),
    path("releases/<int:pk>/pdf/", reports.release, name="release_pdf"),
    path("buildings/<int:pk>/pdf/", reports.building, name="building_pdf"),
    path("buildings/<int:pk>/sheet/pdf/", reports.sheet, name="sheet_pdf"),
    path("buildings/<int:pk>/shims/pdf/", reports.shims, name="shims_pdf"),
    path("methods/", methods.methods, name="methods"),
    path("methods/<slug:slug>/", methods.method, name="method"),
    path("verify/", releases.verify, name="verify"),
    path("verify/<str:digest>/", releases.verify, name="verify_digest"),
]
