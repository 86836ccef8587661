"""Results of a building: result document, exchange document and shims."""

from django.http import Http404, HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import RecordView, conditional_response, get_visible_or_404, with_etag
from api.openapi import BUILDING_REF, RESULT_REF
from api.queries import build_shim_plan, get_current_evaluation, list_buildings
from api.serializers.readings import ShimsOut
from api.views.plans import IF_NONE_MATCH
from checks.evaluation_input import build_building_document
from checks.models import Evaluation
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building


class ResultDocumentView(RecordView):
    """The latest result for the current plan."""

    @extend_schema(
        operation_id="result",
        summary="Get the latest result for the current plan",
        tags=["results"],
        parameters=[IF_NONE_MATCH],
        responses={200: RESULT_REF, 304: None},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        """Return the result document."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        evaluation = _get_evaluation_or_404(building)
        etag = f"evaluation-{evaluation.pk}"
        if hasattr(evaluation, "supplement"):
            etag += "-supplemented"
        return conditional_response(request, etag) or with_etag(
            evaluation.complete_result, etag
        )


class BuildingDocumentView(RecordView):
    """A building with its readings, as it can be imported elsewhere."""

    @extend_schema(
        operation_id="document",
        summary="Get plan and readings in one document",
        tags=["results"],
        parameters=[IF_NONE_MATCH],
        responses={200: BUILDING_REF, 304: None},
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        """Return the exchange document."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        document = build_building_document(building)
        etag = sha256_of(document)
        return conditional_response(request, etag) or with_etag(document, etag)


class ShimPlanView(RecordView):
    """Shims by position, and the pack list."""

    @extend_schema(
        operation_id="shims",
        summary="Get the shims by position, and the pack list",
        tags=["results"],
        responses=ShimsOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """Return the shim plan."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        return Response(
            ShimsOut(build_shim_plan(_get_evaluation_or_404(building))).data
        )


def _get_evaluation_or_404(building: Building) -> Evaluation:
    evaluation = get_current_evaluation(building, building.current_revision())
    if evaluation is None:
        msg = (
            "There is no result for the current plan yet. Record readings, or try "
            "again in a minute."
        )
        raise Http404(msg)
    return evaluation
