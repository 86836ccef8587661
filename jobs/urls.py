"""Addresses of jobs, their buildings' plans, and the people on them."""

from django.urls import path

from jobs import views
from jobs.plans import download_views, plan_views

app_name = "jobs"
urlpatterns = [
    path("", views.job_list, name="list"),
    path("jobs/new/", views.new_job, name="new_job"),
    path("jobs/<int:job_id>/", views.job_detail, name="job"),
    path("jobs/<int:job_id>/change/", views.edit_job, name="edit_job"),
    path(
        "jobs/<int:job_id>/people/", views.change_membership, name="change_membership"
    ),
    path(
        "jobs/<int:job_id>/buildings/new/",
        plan_views.new_building,
        name="new_building",
    ),
    path(
        "jobs/<int:job_id>/buildings/new/preview/",
        plan_views.preview_building,
        name="preview_building",
    ),
    path(
        "jobs/<int:job_id>/buildings/import/",
        plan_views.import_building,
        name="import_building",
    ),
    path("buildings/<int:building_id>/plan/", plan_views.show_plan, name="plan"),
    path(
        "buildings/<int:building_id>/plan/revise/",
        plan_views.revise_building,
        name="revise",
    ),
    path(
        "buildings/<int:building_id>/plan/<int:number>/document/",
        plan_views.download_document,
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
