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
    validated_body,
    validated_query,
)
from api.examples import BUILDING_EXAMPLES
from api.openapi import BUILDING_REF
from api.queries import (
    list_buildings,
    list_plan_warnings,
    prefetch_job_details,
    summarize_building,
)
from api.request_serializers import JobsQuery, NoteQuery, SteelStateIn
from api.serializers.jobs import BuildingOut, JobOut
from api.serializers.readings import BuildingImportOut
from api.services import import_building
from checks.services.steel import record_steel_state
from jobs.models import Building, Job
from jobs.queries import JobFilter, find_jobs

PAGING_PARAMETERS = ("cursor", "limit")


class JobListView(RecordView, generics.ListAPIView[Job]):
    """Jobs that the person may see."""

    serializer_class = JobOut

    def get_queryset(self) -> QuerySet[Job]:
        """Return the jobs by the query parameters, newest first."""
        query = validated_query(JobsQuery, self.request)
        filters = {
            name: value
            for name, value in query.items()
            if name not in PAGING_PARAMETERS
        }
        return prefetch_job_details(
            find_jobs(self.person, JobFilter(**filters)), self.person
        )

    @extend_schema(
        operation_id="jobs", summary="List jobs", tags=["jobs"], parameters=[JobsQuery]
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List jobs, paginated."""
        return super().get(request, *args, **kwargs)


class JobView(RecordView):
    """One job with its buildings."""

    @extend_schema(
        operation_id="job", summary="Get a job", tags=["jobs"], responses=JobOut
    )
    def get(self, request: Request, pk: int) -> Response:
        """Return the job."""
        jobs = prefetch_job_details(Job.objects.visible_to(self.person), self.person)
        return Response(JobOut(get_visible_or_404(jobs, "job", pk=pk)).data)


class BuildingListView(RecordView, generics.ListAPIView[Building]):
    """Buildings of a job: list and import."""

    serializer_class = BuildingOut
    pagination_class = None

    def get_queryset(self) -> QuerySet[Building]:
        """Return the buildings of a job that the person may see."""
        jobs = Job.objects.visible_to(self.person)
        job = get_visible_or_404(jobs, "job", pk=self.kwargs["pk"])
        return list_buildings(self.person).filter(job=job)

    @extend_schema(
        operation_id="buildings", summary="List the buildings of a job", tags=["jobs"]
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the buildings."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="import_building",
        summary="Import a building with its plan and readings, all or nothing",
        description="Safe to send again: the same document returns 200 with the "
        "building of the first time.",
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
            imported = import_building(
                actor=self.person, job=job, document=document, note=note
            )
        building = list_buildings(self.person).get(pk=imported.building.pk)
        receipt = {
            "building": building,
            "readings_stored": len(imported.recorded.stored),
            "readings_repeated": len(imported.recorded.repeated),
            "warnings": list_plan_warnings(building),
            "evaluation": summarize_building(building),
        }
        code = status.HTTP_201_CREATED if imported.created else status.HTTP_200_OK
        return Response(BuildingImportOut(receipt).data, status=code)


class BuildingView(RecordView):
    """One building."""

    @extend_schema(
        operation_id="building",
        summary="Get a building",
        tags=["jobs"],
        responses=BuildingOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """Return the building."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        return Response(BuildingOut(building).data)

    @extend_schema(
        operation_id="record_steel_state",
        summary="Record how far the steel is",
        description="The order of the remedies depends on it, so the building is "
        "evaluated again. A ship release records the steel as shipped by itself.",
        tags=["jobs"],
        request=SteelStateIn,
        responses=BuildingOut,
    )
    def patch(self, request: Request, pk: int) -> Response:
        """Record the state of the steel."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        body = validated_body(SteelStateIn, request)
        with lock_timeout():
            record_steel_state(
                actor=self.person,
                building=building,
                state=body["steel"],
                note=body["note"],
            )
        return Response(BuildingOut(list_buildings(self.person).get(pk=pk)).data)
