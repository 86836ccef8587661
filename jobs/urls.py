"""URLs of jobs, members and plans."""

from django.urls import path

from jobs import views
from jobs.plans.urls import plan_urlpatterns

app_name = "jobs"
urlpatterns = [
    path("", views.job_list, name="list"),
    path("jobs/new/", views.new_job, name="new_job"),
    path("jobs/<int:job_id>/", views.job_detail, name="job"),
    path("jobs/<int:job_id>/edit/", views.edit_job, name="edit_job"),
    path(
        "jobs/<int:job_id>/people/", views.change_membership, name="change_membership"
    ),
    *plan_urlpatterns,
]
