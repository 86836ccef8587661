"""Jobs and their buildings."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import generics, status
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import (
    RecordView,
    get_visible_or_404,
    lock_timeout,
    read_document,
    validated_query,
)
from api.examples import BUILDING_EXAMPLES
from api.openapi import BUILDING_REF
from api.queries import list_buildings, prefetch_job_details, summarize_building
from api.request_serializers import JobsQuery, NoteQuery
from api.serializers.jobs import BuildingOut, JobOut
from api.serializers.readings import BuildingImportOut
from api.services import import_building
from jobs.models import Building, Job
from jobs.queries import JobFilter, find_jobs

PAGING_PARAMETERS = ("cursor", "limit")


class JobListView(RecordView, generics.ListAPIView[Job]):
    """Every job this person may see."""

    serializer_class = JobOut

    def get_queryset(self) -> QuerySet[Job]:
        """Give what the parameters ask for, the newest first."""
        wanted = validated_query(JobsQuery, self.request)
        asked = {
            name: each for name, each in wanted.items() if name not in PAGING_PARAMETERS
        }
        return prefetch_job_details(
            find_jobs(self.person, JobFilter(**asked)), self.person
        )

    @extend_schema(
        operation_id="jobs", summary="Jobs", tags=["jobs"], parameters=[JobsQuery]
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List jobs in pages."""
        return super().get(request, *args, **kwargs)


class JobView(RecordView):
    """One job with its buildings."""

    @extend_schema(
        operation_id="job", summary="One job", tags=["jobs"], responses=JobOut
    )
    def get(self, request: Request, pk: int) -> Response:
        """Give the job."""
        jobs = prefetch_job_details(Job.objects.visible_to(self.person), self.person)
        return Response(JobOut(get_visible_or_404(jobs, "job", pk=pk)).data)


class BuildingListView(RecordView, generics.ListAPIView[Building]):
    """The buildings of a job; and the way in for another."""

    serializer_class = BuildingOut
    pagination_class = None

    def get_queryset(self) -> QuerySet[Building]:
        """Give the buildings of a job this person may see."""
        jobs = Job.objects.visible_to(self.person)
        job = get_visible_or_404(jobs, "job", pk=self.kwargs["pk"])
        return list_buildings(self.person).filter(job=job)

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
        request={"application/json": BUILDING_REF},
        responses={200: BuildingImportOut, 201: BuildingImportOut},
        examples=BUILDING_EXAMPLES,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Import an exchange document."""
        job = get_visible_or_404(Job.objects.visible_to(self.person), "job", pk=pk)
        note = validated_query(NoteQuery, request)["note"]
        document = read_document(request)
        with lock_timeout():
            found = import_building(
                actor=self.person, job=job, document=document, note=note
            )
        building = list_buildings(self.person).get(pk=found.building.pk)
        told = {
            "building": building,
            "readings_stored": len(found.recorded.stored),
            "readings_repeated": len(found.recorded.repeated),
            "evaluation": summarize_building(building),
        }
        code = status.HTTP_201_CREATED if found.created else status.HTTP_200_OK
        return Response(BuildingImportOut(told).data, status=code)


class BuildingView(RecordView):
    """One building."""

    @extend_schema(
        operation_id="building",
        summary="One building",
        tags=["jobs"],
        responses=BuildingOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """Give the building."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        return Response(BuildingOut(building).data)
