"""What was computed of a building, and all that is known of it in one document."""

from django.http import Http404, HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import RecordView, seen_or_404, tagged, unchanged
from api.openapi import BUILDING, RESULT
from api.queries import buildings_of, evaluation_in_force, shims_of
from api.serializers.readings import ShimsOut
from api.views.plans import IF_NONE_MATCH
from checks.adapters import building_document
from checks.models import Evaluation
from jobs.exchange.canonical import digest
from jobs.models import Building


class Result(RecordView):
    """The latest result on the plan in force."""

    @extend_schema(
        operation_id="result",
        summary="The latest result on the plan in force",
        tags=["results"],
        parameters=[IF_NONE_MATCH],
        responses={200: RESULT, 304: None},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        """Give the result document."""
        building = seen_or_404(buildings_of(self.person), "building", pk=pk)
        evaluation = _evaluation(building)
        etag = f"evaluation-{evaluation.pk}"
        return unchanged(request, etag) or tagged(evaluation.result, etag)


class Document(RecordView):
    """A building with its readings, as it can be imported elsewhere."""

    @extend_schema(
        operation_id="document",
        summary="Plan and readings in one document",
        tags=["results"],
        parameters=[IF_NONE_MATCH],
        responses={200: BUILDING, 304: None},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        """Give the document."""
        building = seen_or_404(buildings_of(self.person), "building", pk=pk)
        document = building_document(building)
        etag = digest(document)
        return unchanged(request, etag) or tagged(document, etag)


class Shims(RecordView):
    """Where shims go and what to order."""

    @extend_schema(
        operation_id="shims",
        summary="Shims by position, and the pack list",
        tags=["results"],
        responses=ShimsOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """Give the plan of shims."""
        building = seen_or_404(buildings_of(self.person), "building", pk=pk)
        return Response(ShimsOut(shims_of(_evaluation(building))).data)


def _evaluation(building: Building) -> Evaluation:
    evaluation = evaluation_in_force(building, building.current_revision())
    if evaluation is None:
        msg = (
            "Nothing has been evaluated on the plan in force yet: record readings, or "
            "ask again in a minute."
        )
        raise Http404(msg)
    return evaluation
