"""Jobs and their buildings."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import generics, status
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import RecordView, document_of, no_long_wait, parameters, seen_or_404
from api.examples import BUILDINGS
from api.openapi import BUILDING
from api.queries import buildings_of, jobs_for, summary_of
from api.requests import JobsQuery, NoteQuery
from api.serializers.jobs import BuildingOut, JobOut
from api.serializers.readings import ImportedOut
from api.services import import_building
from jobs.models import Building, Job
from jobs.queries import JobFilter, find_jobs

PAGING = ("cursor", "limit")


class Jobs(RecordView, generics.ListAPIView[Job]):
    """Every job this person may see."""

    serializer_class = JobOut

    def get_queryset(self) -> QuerySet[Job]:
        """Give what the parameters ask for, the newest first."""
        wanted = parameters(JobsQuery, self.request)
        asked = {name: each for name, each in wanted.items() if name not in PAGING}
        return jobs_for(find_jobs(self.person, JobFilter(**asked)), self.person)

    @extend_schema(
        operation_id="jobs", summary="Jobs", tags=["jobs"], parameters=[JobsQuery]
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List jobs in pages."""
        return super().get(request, *args, **kwargs)


class OneJob(RecordView):
    """One job with its buildings."""

    @extend_schema(
        operation_id="job", summary="One job", tags=["jobs"], responses=JobOut
    )
    def get(self, request: Request, pk: int) -> Response:
        """Give the job."""
        jobs = jobs_for(Job.objects.visible_to(self.person), self.person)
        return Response(JobOut(seen_or_404(jobs, "job", pk=pk)).data)


class Buildings(RecordView, generics.ListAPIView[Building]):
    """The buildings of a job; and the way in for another."""

    serializer_class = BuildingOut
    pagination_class = None

    def get_queryset(self) -> QuerySet[Building]:
        """Give the buildings of a job this person may see."""
        jobs = Job.objects.visible_to(self.person)
        job = seen_or_404(jobs, "job", pk=self.kwargs["pk"])
        return buildings_of(self.person).filter(job=job)

    @extend_schema(
        operation_id="buildings", summary="Buildings of a job", tags=["jobs"]
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the buildings."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="import_building",
        summary="Add a building with its plan and its readings, or nothing of it",
        description="Sent again, the same document answers 200 with the building it "
        "became the first time.",
        tags=["jobs"],
        parameters=[NoteQuery],
        request={"application/json": BUILDING},
        responses={200: ImportedOut, 201: ImportedOut},
        examples=BUILDINGS,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Import an exchange document."""
        job = seen_or_404(Job.objects.visible_to(self.person), "job", pk=pk)
        note = parameters(NoteQuery, request)["note"]
        document = document_of(request)
        with no_long_wait():
            found = import_building(
                actor=self.person, job=job, document=document, note=note
            )
        building = buildings_of(self.person).get(pk=found.building.pk)
        told = {
            "building": building,
            "readings_stored": len(found.recorded.stored),
            "readings_repeated": len(found.recorded.repeated),
            "evaluation": summary_of(building),
        }
        code = status.HTTP_201_CREATED if found.created else status.HTTP_200_OK
        return Response(ImportedOut(told).data, status=code)


class OneBuilding(RecordView):
    """One building."""

    @extend_schema(
        operation_id="building",
        summary="One building",
        tags=["jobs"],
        responses=BuildingOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """Give the building."""
        building = seen_or_404(buildings_of(self.person), "building", pk=pk)
        return Response(BuildingOut(building).data)
