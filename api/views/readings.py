"""The check sheet and the readings of a building."""

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
from api.examples import READING_EXAMPLES
from api.openapi import READINGS_BODY
from api.pagination import OldestFirstPagination
from api.queries import (
    filter_readings,
    get_latest_verdicts,
    list_buildings,
    list_sheet_rows,
    summarize_building,
)
from api.request_serializers import ReadingsIn, ReadingsQuery, SheetQuery, WithdrawIn
from api.serializers.readings import (
    DocumentIssueOut,
    NewReadingOut,
    ReadingHistoryOut,
    ReadingsReceiptOut,
    SheetOut,
)
from checks.models import Reading
from checks.queries.walk import get_latest_evaluation
from checks.services.readings import RecordedReadings, record_readings
from checks.services.withdrawals import withdraw_reading
from jobs.models import Building


class CheckSheetView(RecordView):
    """The check sheet with results."""

    @extend_schema(
        operation_id="checks",
        summary="Get the check sheet with verdicts",
        tags=["readings"],
        parameters=[SheetQuery],
        responses=SheetOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """List every check in the order of the walk."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        hidden = validated_query(SheetQuery, request)["expected"] == "hidden"
        rows = list_sheet_rows(building, hidden=hidden)
        sheet = {"evaluation": summarize_building(building), "checks": rows}
        return Response(SheetOut(sheet).data)


class ReadingListView(RecordView, generics.ListAPIView[Reading]):
    """Readings of a building: list and record."""

    serializer_class = ReadingHistoryOut
    pagination_class = OldestFirstPagination

    def get_queryset(self) -> QuerySet[Reading]:
        """Return the readings by the query parameters, oldest first."""
        buildings = list_buildings(self.person)
        building = get_visible_or_404(buildings, "building", pk=self.kwargs["pk"])
        return filter_readings(building, validated_query(ReadingsQuery, self.request))

    @extend_schema(
        operation_id="readings",
        summary="List readings in the order recorded",
        tags=["readings"],
        parameters=[ReadingsQuery],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List readings, paginated."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="record_readings",
        summary="Record readings, all or nothing",
        description="Safe to send again: a known reading is `repeated`, not stored "
        "twice. One invalid reading refuses all of them (422), unless `keep_good`. "
        "Returns 201 where something new was stored, else 200.",
        tags=["readings"],
        request={"application/json": READINGS_BODY},
        responses={200: ReadingsReceiptOut, 201: ReadingsReceiptOut},
        examples=READING_EXAMPLES,
    )
    def post(self, request: Request, pk: int) -> Any:
        """Record readings."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        sent = validated_body(ReadingsIn, request)
        with lock_timeout():
            recorded = record_readings(
                actor=self.person,
                building=building,
                entries=sent["readings"],
                keep_good=sent["keep_good"],
            )
        good = recorded.stored or recorded.repeated
        if recorded.refused and not (sent["keep_good"] and good):
            errors = list_issues(recorded.refused)
            detail = f"{count_errors(errors)} in the readings. None was stored."
            return problem_response(DOCUMENT_REFUSED, detail, errors=errors)
        code = status.HTTP_201_CREATED if recorded.stored else status.HTTP_200_OK
        return Response(_build_receipt(building, recorded), status=code)


class WithdrawView(RecordView):
    """Withdrawals of readings."""

    @extend_schema(
        operation_id="withdraw_reading",
        summary="Withdraw a reading that does not count",
        description="The reading stays in the record with the reason, out of the "
        "arithmetic. What it replaced stays replaced.",
        tags=["readings"],
        request=WithdrawIn,
        responses=ReadingHistoryOut,
    )
    def post(self, request: Request, pk: int, reading: str) -> Response:
        """Withdraw a reading."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        rows = filter_readings(building, {})
        row = get_visible_or_404(rows, "reading", client_id=reading)
        with lock_timeout():
            withdraw_reading(
                actor=self.person, reading=row, **validated_body(WithdrawIn, request)
            )
        return Response(ReadingHistoryOut(rows.get(pk=row.pk)).data)


def _build_receipt(building: Building, recorded: RecordedReadings) -> dict[str, Any]:
    """Return the outcome of the readings and the state of the building."""
    evaluation = recorded.evaluation or get_latest_evaluation(building)
    context = {"verdicts": get_latest_verdicts(building, evaluation)}
    return {
        "stored": NewReadingOut(recorded.stored, many=True, context=context).data,
        "repeated": [row.client_id for row in recorded.repeated],
        "refused": DocumentIssueOut(recorded.refused, many=True).data,
        "evaluation": summarize_building(building, evaluation),
    }
