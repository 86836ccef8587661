"""Photographs of a building."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import Http404
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import generics, status
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import (
    RecordView,
    get_visible_or_404,
    lock_timeout,
    validated_body,
    validated_query,
)
from api.pagination import OldestFirstPagination
from api.parsers import PhotographParser
from api.queries import filter_photographs, list_buildings
from api.request_serializers import PhotographIn, PhotographsQuery
from api.serializers.photographs import PhotographOut
from checks.models import Decision, Finding, Photograph
from checks.services.photographs import add_photograph
from checks.views.photographs import (
    CACHE_FOREVER,
    can_see_photograph,
    photograph_response,
)
from jobs.models import Building


class JPEGRenderer(BaseRenderer):
    """Renderer that lets a client ask for JPEG only."""

    media_type = "image/jpeg"
    format = "jpg"
    charset = None
    render_style = "binary"

    def render(self, data: Any, *args: Any, **kwargs: Any) -> Any:
        """Return the bytes."""
        return data


class PhotographListView(RecordView, generics.ListAPIView[Photograph]):
    """Photographs of a building: list and add."""

    serializer_class = PhotographOut
    pagination_class = OldestFirstPagination
    parser_classes = (PhotographParser,)

    def get_queryset(self) -> QuerySet[Photograph]:
        """Return the photographs by the query parameters, oldest first."""
        buildings = list_buildings(self.person)
        building = get_visible_or_404(buildings, "building", pk=self.kwargs["pk"])
        return filter_photographs(
            building, validated_query(PhotographsQuery, self.request)
        )

    @extend_schema(
        operation_id="photographs",
        summary="List photographs in the order recorded",
        tags=["photographs"],
        parameters=[PhotographsQuery],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List photographs, paginated."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="add_photograph",
        summary="Add a photograph",
        description="Of the building, a check, a reading, a finding, or the work on a "
        "decision. Safe to send again: the same `id` with the same content is one "
        "photograph. It is stored upright, at most 2000 pixels long, as a JPEG without "
        "metadata. Returns 201 where it was stored, 200 where it existed.",
        tags=["photographs"],
        request={"multipart/form-data": PhotographIn},
        responses={200: PhotographOut, 201: PhotographOut},
    )
    def post(self, request: Request, pk: int) -> Response:
        """Add a photograph."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        sent = validated_body(PhotographIn, request)
        finding = _get_finding_of(building, sent.pop("finding", None))
        decision = _get_decision_of(building, sent.pop("decision", None))
        with lock_timeout():
            added = add_photograph(
                actor=self.person,
                building=building,
                client_id=sent.pop("id"),
                content=sent.pop("file").read(),
                finding=finding,
                decision=decision,
                **sent,
            )
        code = status.HTTP_201_CREATED if added.created else status.HTTP_200_OK
        return Response(PhotographOut(added.photograph).data, status=code)


class PhotographFileView(RecordView):
    """The file of a photograph, full size or thumbnail."""

    renderer_classes = (JPEGRenderer, JSONRenderer)

    @extend_schema(
        operation_id="photograph_file",
        summary="Get the file of a photograph by its digest",
        description="The addresses are in `file` and `small` of a photograph. What is "
        "behind one never changes.",
        tags=["photographs"],
        responses={(200, "image/jpeg"): OpenApiTypes.BINARY},
    )
    def get(self, request: Request, pk: int, digest: str) -> HttpResponseBase:
        """Return the file."""
        if not can_see_photograph(self.person, pk, digest):
            raise Http404("Your jobs have no such photograph.")
        return photograph_response(request._request, digest)

    def finalize_response(
        self, request: Request, response: Any, *args: Any, **kwargs: Any
    ) -> Any:
        """Allow the browser to cache the file for good, but no shared cache."""
        final = super().finalize_response(request, response, *args, **kwargs)
        if "ETag" in final:
            final["Cache-Control"] = CACHE_FOREVER
        return final


def _get_finding_of(building: Building, pk: int | None) -> Finding | None:
    if pk is None:
        return None
    finding = Finding.objects.filter(building=building, pk=pk).first()
    if finding is None:
        msg = "This building has no such finding."
        raise ValidationError({"finding": msg}, code="elsewhere")
    return finding


def _get_decision_of(building: Building, pk: int | None) -> Decision | None:
    if pk is None:
        return None
    decisions = Decision.objects.filter(finding__building=building, pk=pk)
    decision = decisions.select_related("finding", "work_report").first()
    if decision is None:
        msg = "This building has no such decision."
        raise ValidationError({"decision": msg}, code="elsewhere")
    return decision
