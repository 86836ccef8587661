"""Concrete entries of a building."""

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
    validated_body,
    validated_query,
)
from api.errors import DOCUMENT_REFUSED, count_errors, list_issues, problem_response
from api.examples import CONCRETE_EXAMPLES
from api.openapi import CONCRETE_BODY
from api.pagination import OldestFirstPagination
from api.queries import filter_concrete_entries, list_buildings, summarize_building
from api.request_serializers import ConcreteIn, ConcreteQuery
from api.serializers.concrete import ConcreteEntryOut, ConcreteReceiptOut
from checks.models import ConcreteEntry
from checks.services.concrete import record_concrete


class ConcreteListView(RecordView, generics.ListAPIView[ConcreteEntry]):
    """Concrete entries of a building: list and record."""

    serializer_class = ConcreteEntryOut
    pagination_class = OldestFirstPagination

    def get_queryset(self) -> QuerySet[ConcreteEntry]:
        """Return the entries by the query parameters, oldest first."""
        buildings = list_buildings(self.person)
        building = get_visible_or_404(buildings, "building", pk=self.kwargs["pk"])
        return filter_concrete_entries(
            building, validated_query(ConcreteQuery, self.request)
        )

    @extend_schema(
        operation_id="concrete",
        summary="List concrete entries: temperatures, tests and other data",
        tags=["readings"],
        parameters=[ConcreteQuery],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List entries, paginated."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="record_concrete",
        summary="Record concrete entries, all or nothing",
        description="The day of placing, temperatures, standard-cured tests, cylinders "
        "of the mixture and expected temperatures, with the members of `concrete` in "
        "the exchange document; they are added to those of the plan. Field-cured "
        "samples are readings. Safe to send again: a known entry is `repeated`. "
        "Returns 201 where something new was stored, else 200.",
        tags=["readings"],
        request={"application/json": CONCRETE_BODY},
        responses={200: ConcreteReceiptOut, 201: ConcreteReceiptOut},
        examples=CONCRETE_EXAMPLES,
    )
    def post(self, request: Request, pk: int) -> Any:
        """Record entries."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        sent = validated_body(ConcreteIn, request)
        with lock_timeout():
            recorded = record_concrete(
                actor=self.person, building=building, entries=sent["entries"]
            )
        if recorded.refused:
            errors = list_issues(recorded.refused)
            detail = f"{count_errors(errors)} in the entries. None was stored."
            return problem_response(DOCUMENT_REFUSED, detail, errors=errors)
        receipt = {
            "stored": recorded.stored,
            "repeated": [row.client_id for row in recorded.repeated],
            "refused": [],
            "evaluation": summarize_building(building),
        }
        code = status.HTTP_201_CREATED if recorded.stored else status.HTTP_200_OK
        return Response(ConcreteReceiptOut(receipt).data, status=code)
