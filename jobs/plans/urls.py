"""URLs of the plan pages, in the namespace `jobs`."""

from django.urls import path

from jobs.plans import download_views, views

plan_urlpatterns = [
    path(
        "jobs/<int:job_id>/buildings/new/",
        views.new_building,
        name="new_building",
    ),
    path(
        "jobs/<int:job_id>/buildings/new/preview/",
        views.preview_building,
        name="preview_building",
    ),
    path(
        "jobs/<int:job_id>/buildings/import/",
        views.import_building,
        name="import_building",
    ),
    path("buildings/<int:building_id>/plan/", views.show_plan, name="plan"),
    path(
        "buildings/<int:building_id>/plan/revise/",
        views.revise_building,
        name="revise",
    ),
    path(
        "buildings/<int:building_id>/plan/<int:number>/document/",
        views.download_document,
        name="document",
    ),
    path(
        "buildings/<int:building_id>/plan/<int:number>/plan.<str:kind>",
        download_views.download_plan_file,
        name="plan_file",
    ),
    path(
        "plan-template.<str:kind>",
        download_views.download_plan_template,
        name="plan_template",
    ),
]
