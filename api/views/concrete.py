"""What became known of a building's concrete, and the way in for more."""

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
from api.errors import DOCUMENT_REFUSED, list_issues, problem_response
from api.examples import CONCRETE_EXAMPLES
from api.openapi import CONCRETE_BODY
from api.pagination import OldestFirstPagination
from api.queries import filter_concrete_entries, list_buildings, summarize_building
from api.request_serializers import ConcreteIn, ConcreteQuery
from api.serializers.concrete import ConcreteEntryOut, ConcreteReceiptOut
from checks.models import ConcreteEntry
from checks.services.concrete import record_concrete


class ConcreteListView(RecordView, generics.ListAPIView[ConcreteEntry]):
    """Every entry of a building's concrete; and the way in for more."""

    serializer_class = ConcreteEntryOut
    pagination_class = OldestFirstPagination

    def get_queryset(self) -> QuerySet[ConcreteEntry]:
        """Give what the parameters ask for, the oldest first."""
        buildings = list_buildings(self.person)
        building = get_visible_or_404(buildings, "building", pk=self.kwargs["pk"])
        return filter_concrete_entries(
            building, validated_query(ConcreteQuery, self.request)
        )

    @extend_schema(
        operation_id="concrete",
        summary="Temperatures, tests and what else became known of the concrete",
        tags=["readings"],
        parameters=[ConcreteQuery],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List entries in pages."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="record_concrete",
        summary="Record what became known of the concrete, all of it or nothing",
        description="The day of placing, temperatures, standard-cured tests, the "
        "mixture's cylinders and the temperatures expected, with the members that "
        "`concrete` of the exchange document has; they follow the plan's own. "
        "Field-cured samples are readings. Safe to send again: an entry whose id and "
        "content are known is `repeated`. 201 when something new was stored, 200 when "
        "nothing was.",
        tags=["readings"],
        request={"application/json": CONCRETE_BODY},
        responses={200: ConcreteReceiptOut, 201: ConcreteReceiptOut},
        examples=CONCRETE_EXAMPLES,
    )
    def post(self, request: Request, pk: int) -> Any:
        """Hand entries to the record's door for them."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        sent = validated_body(ConcreteIn, request)
        with lock_timeout():
            recorded = record_concrete(
                actor=self.person, building=building, entries=sent["entries"]
            )
        if recorded.refused:
            errors = list_issues(recorded.refused)
            detail = (
                f"{len(errors)} of the entries' members do not fit; none is stored."
            )
            return problem_response(DOCUMENT_REFUSED, detail, errors=errors)
        told = {
            "stored": recorded.stored,
            "repeated": [row.client_id for row in recorded.repeated],
            "refused": [],
            "evaluation": summarize_building(building),
        }
        code = status.HTTP_201_CREATED if recorded.stored else status.HTTP_200_OK
        return Response(ConcreteReceiptOut(told).data, status=code)
