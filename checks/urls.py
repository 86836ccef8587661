"""Addresses of the pages of measuring, findings, decisions and releases."""

from django.urls import path

from checks.views import (
    as_built,
    audit_log,
    bulk_decisions,
    concrete,
    downloads,
    findings,
    measure,
    methods,
    new_plates,
    offline,
    photographs,
    reading_files,
    readings,
    reevaluations,
    releases,
    reports,
    steel,
    survey_points,
    withdrawals,
)

app_name = "checks"
urlpatterns = [
    path(
        "buildings/<int:pk>/positions/<path:mark>/", as_built.position, name="position"
    ),
    path("buildings/<int:pk>/checks/<path:key>/", as_built.check, name="check"),
    path("buildings/<int:pk>/levels/", as_built.levels, name="levels"),
    path("buildings/<int:pk>/steel/", steel.steel_state, name="steel_state"),
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
    path("buildings/<int:pk>/sheet/", readings.blank_sheet, name="blank_sheet"),
    path("buildings/<int:pk>/measure/", measure.measure, name="measure"),
    path(
        "buildings/<int:pk>/evaluation/",
        offline.evaluation_state,
        name="evaluation_state",
    ),
    path("buildings/<int:pk>/readings/", offline.sync_readings, name="sync_readings"),
    path(
        "buildings/<int:pk>/record/", readings.reading_history, name="reading_history"
    ),
    path(
        "buildings/<int:pk>/record/upload/",
        reading_files.upload_readings,
        name="upload_readings",
    ),
    path(
        "buildings/<int:pk>/record/points/",
        survey_points.survey_points,
        name="survey_points",
    ),
    path(
        "buildings/<int:pk>/record/readings.<str:kind>",
        downloads.download_readings,
        name="download_readings",
    ),
    path(
        "buildings/<int:pk>/sheet/readings.<str:kind>",
        downloads.download_blank_sheet,
        name="download_blank_sheet",
    ),
    path(
        "buildings/<int:pk>/export/building.<str:kind>",
        downloads.download_building,
        name="download_building",
    ),
    path(
        "buildings/<int:pk>/photographs/",
        photographs.sync_photograph,
        name="sync_photograph",
    ),
    path(
        "buildings/<int:pk>/photographs/<str:digest>.jpg",
        photographs.photograph,
        name="photograph",
    ),
    path(
        "buildings/<int:pk>/readings/<int:reading>/withdraw/",
        withdrawals.withdraw,
        name="withdraw_reading",
    ),
    path("buildings/<int:pk>/concrete/", concrete.concrete, name="concrete"),
    path(
        "buildings/<int:pk>/instruments/",
        readings.create_instrument,
        name="create_instrument",
    ),
    path("jobs/<int:pk>/trail.csv", audit_log.audit_log_csv, name="audit_log_csv"),
    path("worker.js", offline.service_worker, name="service_worker"),
    path("offline/", offline.offline_page, name="offline"),
    path("findings/", findings.finding_queue, name="findings"),
    path("findings/<int:pk>/", findings.finding_detail, name="finding"),
    path("findings/<int:pk>/decide/", findings.sign_decision, name="decide"),
    path(
        "findings/<int:pk>/ask-again/",
        findings.ask_for_readings,
        name="request_remeasurement",
    ),
    path(
        "findings/<int:pk>/new-plate.<str:kind>",
        new_plates.download_plate,
        name="new_plate",
    ),
    path(
        "findings/<int:pk>/photographs/",
        photographs.add_to_finding,
        name="add_finding_photographs",
    ),
    path(
        "decisions/<int:pk>/photographs/",
        photographs.add_to_decision,
        name="add_decision_photographs",
    ),
    path(
        "findings/<int:pk>/together/",
        bulk_decisions.bulk_decision,
        name="bulk_decision",
    ),
    path(
        "decisions/<int:pk>/carried-out/", findings.report_carried_out, name="carry_out"
    ),
    path("buildings/<int:pk>/releases/", releases.releases, name="releases"),
    path(
        "buildings/<int:pk>/releases/<slug:kind>/",
        releases.sign_stage_release,
        name="sign_release",
    ),
    path("releases/<int:pk>/", releases.release, name="release"),
    path("releases/<int:pk>/pdf/", reports.release_report, name="release_pdf"),
    path("buildings/<int:pk>/pdf/", reports.status_report, name="building_pdf"),
    path("buildings/<int:pk>/sheet/pdf/", reports.sheet_report, name="sheet_pdf"),
    path("buildings/<int:pk>/shims/pdf/", reports.shim_report, name="shims_pdf"),
    path("reevaluations/", reevaluations.reevaluations, name="reevaluations"),
    path("reevaluations/<int:pk>/", reevaluations.reevaluation, name="reevaluation"),
    path(
        "reevaluations/<int:pk>/resume/",
        reevaluations.submit_resumption,
        name="resume_reevaluation",
    ),
    path("methods/", methods.methods, name="methods"),
    path("methods/<slug:slug>/", methods.method, name="method"),
    path("verify/", releases.verify_release, name="verify_release"),
    path("verify/<str:digest>/", releases.verify_release, name="verify_digest"),
]
