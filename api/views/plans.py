"""A building's anchor plan: the one in force, its issues, and another one."""

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import (
    RecordView,
    document_of,
    no_long_wait,
    parameters,
    seen_or_404,
    tagged,
    unchanged,
)
from api.errors import ChangedMeanwhile
from api.examples import BUILDINGS
from api.openapi import BUILDING
from api.queries import buildings_of, summary_of
from api.requests import NoteQuery
from api.serializers.jobs import IssueOut
from api.serializers.readings import RevisedOut
from api.services import revise
from jobs.queries import issues_of

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


class PlanInForce(RecordView):
    """The plan in force."""

    @extend_schema(
        operation_id="plan",
        summary="The plan in force, without readings",
        tags=["plans"],
        parameters=[IF_NONE_MATCH],
        responses={200: BUILDING, 304: None},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        """Give the document; its ETag is its digest."""
        building = seen_or_404(buildings_of(self.person), "building", pk=pk)
        revision = building.current_revision()
        return unchanged(request, revision.digest) or tagged(
            revision.document, revision.digest
        )

    @extend_schema(
        operation_id="revise_plan",
        summary="Put another plan in force",
        description="Sent again, the same document answers 200. Readings it carries "
        "are passed over; they go to /readings.",
        tags=["plans"],
        parameters=[NoteQuery, IF_MATCH],
        request={"application/json": BUILDING},
        responses={200: RevisedOut, 201: RevisedOut},
        examples=BUILDINGS,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Issue a revision."""
        building = seen_or_404(buildings_of(self.person), "building", pk=pk)
        note = parameters(NoteQuery, request)["note"]
        document = document_of(request)
        with no_long_wait():
            revised = revise(
                actor=self.person,
                building=building,
                document=document,
                note=note,
                expected=_expected(request),
            )
        told = {
            "revision": revised.revision,
            "readings_passed_over": len(document.get("readings") or ()),
            "evaluation": summary_of(building),
        }
        code = status.HTTP_201_CREATED if revised.created else status.HTTP_200_OK
        headers = {"ETag": f'"{revised.revision.digest}"'}
        return Response(RevisedOut(told).data, status=code, headers=headers)


class Revisions(RecordView):
    """Every issue of a plan."""

    @extend_schema(
        operation_id="revisions",
        summary="Issues of the plan, the one in force first, with what each changed",
        tags=["plans"],
        responses=IssueOut(many=True),
    )
    def get(self, request: Request, pk: int) -> Response:
        """List the issues."""
        building = seen_or_404(buildings_of(self.person), "building", pk=pk)
        return Response(IssueOut(issues_of(building), many=True).data)


class OneRevision(RecordView):
    """One issue of a plan."""

    @extend_schema(
        operation_id="revision",
        summary="One issue of the plan",
        tags=["plans"],
        parameters=[IF_NONE_MATCH],
        responses={200: BUILDING, 304: None},
    )
    def get(self, request: Request, pk: int, number: int) -> HttpResponse:
        """Give its document."""
        building = seen_or_404(buildings_of(self.person), "building", pk=pk)
        found = seen_or_404(building.revisions.all(), "revision", number=number)
        return unchanged(request, found.digest) or tagged(found.document, found.digest)


def _expected(request: Request) -> str | None:
    """Read the digest an If-Match names; None where anything will do."""
    given = request.headers.get("If-Match", "").strip()
    if given in ("", "*"):
        return None
    if not (given.startswith('"') and given.endswith('"')):
        raise ChangedMeanwhile
    return given.strip('"')
