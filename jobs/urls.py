"""Addresses of jobs, their buildings' plans, and the people on them."""

from django.urls import path

from jobs import plan_files, plan_views, views

app_name = "jobs"
urlpatterns = [
    path("", views.jobs, name="list"),
    path("jobs/new/", views.new_job, name="new_job"),
    path("jobs/<int:job_id>/", views.job, name="job"),
    path("jobs/<int:job_id>/change/", views.change_job, name="change_job"),
    path("jobs/<int:job_id>/people/", views.people, name="people"),
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
    path("buildings/<int:building_id>/plan/", plan_views.plan, name="plan"),
    path("buildings/<int:building_id>/plan/revise/", plan_views.revise, name="revise"),
    path(
        "buildings/<int:building_id>/plan/<int:number>/document/",
        plan_views.document,
        name="document",
    ),
    path(
        "buildings/<int:building_id>/plan/<int:number>/plan.<str:kind>",
        plan_files.plan_file,
        name="plan_file",
    ),
    path("plan-template.<str:kind>", plan_files.plan_template, name="plan_template"),
]
