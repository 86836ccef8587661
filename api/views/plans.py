"""Plans of a building: the current one and its revisions."""

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
from api.queries import list_buildings, list_plan_warnings, summarize_building
from api.request_serializers import NoteQuery
from api.serializers.jobs import PlanIssueOut
from api.serializers.readings import RevisionReceiptOut
from api.services import issue_revision
from jobs.plans.revisions import list_revisions

IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    description="The ETag you have: 304 if it is current.",
)
IF_MATCH = OpenApiParameter(
    "If-Match",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    description="The ETag of the plan you revise: 412 if another is current.",
)


class CurrentPlanView(RecordView):
    """The current plan."""

    @extend_schema(
        operation_id="plan",
        summary="Get the current plan, without readings",
        tags=["plans"],
        parameters=[IF_NONE_MATCH],
        responses={200: BUILDING_REF, 304: None},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        """Return the document; its ETag is its digest."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        revision = building.current_revision()
        return conditional_response(request, revision.digest) or with_etag(
            revision.document, revision.digest
        )

    @extend_schema(
        operation_id="revise_plan",
        summary="Issue a revision of the plan",
        description="Safe to send again: the same document returns 200. Its readings "
        "and its `steel` are ignored; send readings to /readings, and the state of the "
        "steel to the building.",
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
        receipt = {
            "revision": revised.revision,
            "readings_passed_over": len(document.get("readings") or ()),
            "warnings": list_plan_warnings(building),
            "evaluation": summarize_building(building),
        }
        code = status.HTTP_201_CREATED if revised.created else status.HTTP_200_OK
        headers = {"ETag": f'"{revised.revision.digest}"'}
        return Response(RevisionReceiptOut(receipt).data, status=code, headers=headers)


class RevisionListView(RecordView):
    """Revisions of a plan."""

    @extend_schema(
        operation_id="revisions",
        summary="List the revisions of the plan with their changes, current first",
        tags=["plans"],
        responses=PlanIssueOut(many=True),
    )
    def get(self, request: Request, pk: int) -> Response:
        """List the revisions."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        return Response(PlanIssueOut(list_revisions(building), many=True).data)


class RevisionView(RecordView):
    """One revision of a plan."""

    @extend_schema(
        operation_id="revision",
        summary="Get a revision of the plan",
        tags=["plans"],
        parameters=[IF_NONE_MATCH],
        responses={200: BUILDING_REF, 304: None},
    )
    def get(self, request: Request, pk: int, number: int) -> HttpResponse:
        """Return the document of the revision."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        revision = get_visible_or_404(
            building.revisions.all(), "revision", number=number
        )
        return conditional_response(request, revision.digest) or with_etag(
            revision.document, revision.digest
        )


def _expected_digest(request: Request) -> str | None:
    """Return the digest in If-Match; None where any version will do."""
    header = request.headers.get("If-Match", "").strip()
    if header in ("", "*"):
        return None
    if not (header.startswith('"') and header.endswith('"')):
        raise PreconditionFailed
    return header.strip('"')
