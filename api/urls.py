"""URLs of the API, below /api/v1/; none ends in a slash."""

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
    path("evaluate", evaluate.EvaluateView.as_view(), name="evaluate"),
    path("jobs", jobs.JobListView.as_view(), name="jobs"),
    path("jobs/<int:pk>", jobs.JobView.as_view(), name="job"),
    path("jobs/<int:pk>/buildings", jobs.BuildingListView.as_view(), name="buildings"),
    path("buildings/<int:pk>", jobs.BuildingView.as_view(), name="building"),
    path("buildings/<int:pk>/plan", plans.CurrentPlanView.as_view(), name="plan"),
    path(
        "buildings/<int:pk>/plan/revisions",
        plans.RevisionListView.as_view(),
        name="revisions",
    ),
    path(
        "buildings/<int:pk>/plan/revisions/<int:number>",
        plans.RevisionView.as_view(),
        name="revision",
    ),
    path("buildings/<int:pk>/checks", readings.CheckSheetView.as_view(), name="checks"),
    path(
        "buildings/<int:pk>/evaluation",
        readings.EvaluationStateView.as_view(),
        name="evaluation",
    ),
    path(
        "buildings/<int:pk>/readings",
        readings.ReadingListView.as_view(),
        name="readings",
    ),
    path(
        "buildings/<int:pk>/readings/<path:reading>/withdraw",
        readings.WithdrawView.as_view(),
        name="withdraw",
    ),
    path(
        "buildings/<int:pk>/concrete",
        concrete.ConcreteListView.as_view(),
        name="concrete",
    ),
    path(
        "buildings/<int:pk>/photographs",
        photographs.PhotographListView.as_view(),
        name="photographs",
    ),
    path(
        "buildings/<int:pk>/photographs/<str:digest>.jpg",
        photographs.PhotographFileView.as_view(),
        name="photograph",
    ),
    path(
        "buildings/<int:pk>/result", results.ResultDocumentView.as_view(), name="result"
    ),
    path(
        "buildings/<int:pk>/document",
        results.BuildingDocumentView.as_view(),
        name="document",
    ),
    path("buildings/<int:pk>/shims", results.ShimPlanView.as_view(), name="shims"),
    path(
        "buildings/<int:pk>/releases",
        releases.ReleaseListView.as_view(),
        name="releases",
    ),
    path("releases/<int:pk>", releases.ReleaseView.as_view(), name="release"),
    path("verify/<str:digest>", releases.VerifyView.as_view(), name="verify"),
    path("findings", findings.FindingListView.as_view(), name="findings"),
    path("findings/<int:pk>", findings.FindingView.as_view(), name="finding"),
    path(
        "findings/<int:pk>/new-plate.<str:kind>",
        findings.NewPlateView.as_view(),
        name="new-plate",
    ),
    path(
        "findings/<int:pk>/decisions",
        findings.DecisionListView.as_view(),
        name="decisions",
    ),
    path(
        "findings/<int:pk>/ask-again",
        findings.RemeasureView.as_view(),
        name="ask-again",
    ),
    path(
        "decisions/<int:pk>/carried-out",
        findings.CarryOutView.as_view(),
        name="carried-out",
    ),
    path("me", people.MeView.as_view(), name="me"),
    path("tokens", people.TokenListView.as_view(), name="tokens"),
    path("tokens/<uuid:pk>", people.TokenView.as_view(), name="token"),
    path(
        "schemas/<str:name>.json",
        schemas.DocumentSchemaView.as_view(),
        name="document-schema",
    ),
    path("schema", schemas.OpenApiView.as_view(), name="schema"),
    path("docs", schemas.SwaggerView.as_view(), name="docs"),
    re_path(r"", schemas.NotFoundView.as_view(), name="nothing"),
]
