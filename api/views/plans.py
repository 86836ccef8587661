"""A building's anchor plan: the one in force, its issues, and another one."""

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import (
    RecordView,
    conditional_response,
    get_visible_or_404,
    lock_timeout,
    read_document,
    validated_query,
    with_etag,
)
from api.errors import PreconditionFailed
from api.examples import BUILDING_EXAMPLES
from api.openapi import BUILDING_REF
from api.queries import list_buildings, summarize_building
from api.request_serializers import NoteQuery
from api.serializers.jobs import PlanIssueOut
from api.serializers.readings import RevisionReceiptOut
from api.services import issue_revision
from jobs.plans.revisions import list_revisions

IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    description="The ETag at hand: 304 if it still holds.",
)
IF_MATCH = OpenApiParameter(
    "If-Match",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    description="The ETag of the plan that is revised: 412 if another is in force.",
)


class CurrentPlanView(RecordView):
    """The plan in force."""

    @extend_schema(
        operation_id="plan",
        summary="The plan in force, without readings",
        tags=["plans"],
        parameters=[IF_NONE_MATCH],
        responses={200: BUILDING_REF, 304: None},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        """Give the document; its ETag is its digest."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        revision = building.current_revision()
        return conditional_response(request, revision.digest) or with_etag(
            revision.document, revision.digest
        )

    @extend_schema(
        operation_id="revise_plan",
        summary="Put another plan in force",
        description="Sent again, the same document answers 200. Readings it carries "
        "are passed over; they go to /readings.",
        tags=["plans"],
        parameters=[NoteQuery, IF_MATCH],
        request={"application/json": BUILDING_REF},
        responses={200: RevisionReceiptOut, 201: RevisionReceiptOut},
        examples=BUILDING_EXAMPLES,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Issue a revision."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        note = validated_query(NoteQuery, request)["note"]
        document = read_document(request)
        with lock_timeout():
            revised = issue_revision(
                actor=self.person,
                building=building,
                document=document,
                note=note,
                expected=_expected_digest(request),
            )
        told = {
            "revision": revised.revision,
            "readings_passed_over": len(document.get("readings") or ()),
            "evaluation": summarize_building(building),
        }
        code = status.HTTP_201_CREATED if revised.created else status.HTTP_200_OK
        headers = {"ETag": f'"{revised.revision.digest}"'}
        return Response(RevisionReceiptOut(told).data, status=code, headers=headers)


class RevisionListView(RecordView):
    """Every issue of a plan."""

    @extend_schema(
        operation_id="revisions",
        summary="Issues of the plan, the one in force first, with what each changed",
        tags=["plans"],
        responses=PlanIssueOut(many=True),
    )
    def get(self, request: Request, pk: int) -> Response:
        """List the issues."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        return Response(PlanIssueOut(list_revisions(building), many=True).data)


class RevisionView(RecordView):
    """One issue of a plan."""

    @extend_schema(
        operation_id="revision",
        summary="One issue of the plan",
        tags=["plans"],
        parameters=[IF_NONE_MATCH],
        responses={200: BUILDING_REF, 304: None},
    )
    def get(self, request: Request, pk: int, number: int) -> HttpResponse:
        """Give its document."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        found = get_visible_or_404(building.revisions.all(), "revision", number=number)
        return conditional_response(request, found.digest) or with_etag(
            found.document, found.digest
        )


def _expected_digest(request: Request) -> str | None:
    """Read the digest an If-Match names; None where anything will do."""
    given = request.headers.get("If-Match", "").strip()
    if given in ("", "*"):
        return None
    if not (given.startswith('"') and given.endswith('"')):
        raise PreconditionFailed
    return given.strip('"')
