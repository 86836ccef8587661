"""Addresses of the interface, below /api/v1/; none ends in a slash."""

from django.urls import path, re_path

from api.views import (
    concrete,
    evaluate,
    findings,
    jobs,
    people,
    photographs,
    plans,
    readings,
    releases,
    results,
    schemas,
)

app_name = "api"
urlpatterns = [
    path("evaluate", evaluate.Evaluate.as_view(), name="evaluate"),
    path("jobs", jobs.Jobs.as_view(), name="jobs"),
    path("jobs/<int:pk>", jobs.OneJob.as_view(), name="job"),
    path("jobs/<int:pk>/buildings", jobs.Buildings.as_view(), name="buildings"),
    path("buildings/<int:pk>", jobs.OneBuilding.as_view(), name="building"),
    path("buildings/<int:pk>/plan", plans.PlanInForce.as_view(), name="plan"),
    path(
        "buildings/<int:pk>/plan/revisions",
        plans.Revisions.as_view(),
        name="revisions",
    ),
    path(
        "buildings/<int:pk>/plan/revisions/<int:number>",
        plans.OneRevision.as_view(),
        name="revision",
    ),
    path("buildings/<int:pk>/checks", readings.Checks.as_view(), name="checks"),
    path("buildings/<int:pk>/readings", readings.Readings.as_view(), name="readings"),
    path("buildings/<int:pk>/concrete", concrete.Concrete.as_view(), name="concrete"),
    path(
        "buildings/<int:pk>/photographs",
        photographs.Photographs.as_view(),
        name="photographs",
    ),
    path(
        "buildings/<int:pk>/photographs/<str:digest>.jpg",
        photographs.PhotographFile.as_view(),
        name="photograph",
    ),
    path("buildings/<int:pk>/result", results.Result.as_view(), name="result"),
    path("buildings/<int:pk>/document", results.Document.as_view(), name="document"),
    path("buildings/<int:pk>/shims", results.Shims.as_view(), name="shims"),
    path("buildings/<int:pk>/releases", releases.Releases.as_view(), name="releases"),
    path("releases/<int:pk>", releases.OneRelease.as_view(), name="release"),
    path("verify/<str:digest>", releases.Verify.as_view(), name="verify"),
    path("findings", findings.Findings.as_view(), name="findings"),
    path("findings/<int:pk>", findings.OneFinding.as_view(), name="finding"),
    path("findings/<int:pk>/decisions", findings.Decisions.as_view(), name="decisions"),
    path("findings/<int:pk>/ask-again", findings.AskAgain.as_view(), name="ask-again"),
    path(
        "decisions/<int:pk>/carried-out",
        findings.CarriedOut.as_view(),
        name="carried-out",
    ),
    path("me", people.Me.as_view(), name="me"),
    path("tokens", people.Tokens.as_view(), name="tokens"),
    path("tokens/<uuid:pk>", people.OneToken.as_view(), name="token"),
    path(
        "schemas/<str:name>.json",
        schemas.DocumentSchema.as_view(),
        name="document-schema",
    ),
    path("schema", schemas.Description.as_view(), name="schema"),
    path("docs", schemas.Pages.as_view(), name="docs"),
    re_path(r"", schemas.Nothing.as_view(), name="nothing"),
]
