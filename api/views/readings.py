"""The check sheet and the readings of a building."""

from typing import Any

from django.db.models import QuerySet
from django.urls import reverse
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
    list_buildings,
    list_sheet_rows,
    list_verdicts,
    summarize_building,
)
from api.request_serializers import (
    EvaluationQuery,
    ReadingsIn,
    ReadingsQuery,
    SheetQuery,
    WithdrawIn,
)
from api.serializers.readings import (
    DocumentIssueOut,
    EvaluationStateOut,
    NewReadingOut,
    ReadingHistoryOut,
    ReadingsReceiptOut,
    SheetOut,
)
from checks.models import Reading
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
        "Returns 201 where something new was stored, else 200. Readings that come "
        "while the building is being evaluated share the next evaluation. The answer "
        "waits for an evaluation under way, two seconds as a rule, and "
        "does not wait for that of a large upload, a thousand readings as a rule: then "
        "`covered_by` and every `verdict` are null: the readings are recorded, the "
        "verdict follows, and `follow_up` is where to ask for it.",
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


class EvaluationStateView(RecordView):
    """The state of a building's evaluation."""

    @extend_schema(
        operation_id="evaluation_state",
        summary="Ask whether an evaluation has seen a change",
        description="`follow_up` of recorded readings leads here. Ask again after a "
        "second or two while `covered_by` is null; then get the verdicts from the "
        "check sheet.",
        tags=["readings"],
        parameters=[EvaluationQuery],
        responses=EvaluationStateOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """Return the latest evaluation, and whether it has seen the change."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        asked = validated_query(EvaluationQuery, request).get("change")
        change = building.change_number if asked is None else asked
        summary = summarize_building(building)
        seen = building.evaluated_change >= change
        state = {
            "change": change,
            "covered_by": summary["id"] if seen else None,
            "evaluation": summary,
        }
        return Response(EvaluationStateOut(state).data)


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
    evaluation = recorded.evaluation
    context = {"verdicts": list_verdicts(evaluation)}
    follow_up = reverse("api:evaluation", args=[building.pk])
    return {
        "stored": NewReadingOut(recorded.stored, many=True, context=context).data,
        "repeated": [row.client_id for row in recorded.repeated],
        "refused": DocumentIssueOut(recorded.refused, many=True).data,
        "covered_by": evaluation.pk if evaluation else None,
        "follow_up": None if evaluation else f"{follow_up}?change={recorded.change}",
        "evaluation": summarize_building(building, evaluation),
    }
