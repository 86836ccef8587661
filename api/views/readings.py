"""The check sheet and the readings of a building."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import generics, status
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import RecordView, asked, no_long_wait, parameters, seen_or_404
from api.errors import REFUSED, problem, refusals_of
from api.examples import READINGS
from api.openapi import READINGS_IN
from api.pagination import PagesInOrder
from api.queries import buildings_of, readings_of, sheet_of, summary_of, verdicts_of
from api.requests import ReadingsIn, ReadingsQuery, SheetQuery
from api.serializers.readings import (
    RecordedOut,
    RecordedReadingOut,
    RefusalOut,
    SheetOut,
    StoredReadingOut,
)
from api.services import catch_up
from checks.models import Reading
from checks.services.readings import Recorded, record_readings
from jobs.models import Building


class Checks(RecordView):
    """What is to be measured, and what is known of it."""

    @extend_schema(
        operation_id="checks",
        summary="The check sheet with verdicts",
        tags=["readings"],
        parameters=[SheetQuery],
        responses=SheetOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """List every check in the order of the walk."""
        building = seen_or_404(buildings_of(self.person), "building", pk=pk)
        hidden = parameters(SheetQuery, request)["expected"] == "hidden"
        rows = sheet_of(building, hidden=hidden)
        found = {"evaluation": summary_of(building), "checks": rows}
        return Response(SheetOut(found).data)


class Readings(RecordView, generics.ListAPIView[Reading]):
    """Every reading of a building; and the way in for more."""

    serializer_class = RecordedReadingOut
    pagination_class = PagesInOrder

    def get_queryset(self) -> QuerySet[Reading]:
        """Give what the parameters ask for, the oldest first."""
        buildings = buildings_of(self.person)
        building = seen_or_404(buildings, "building", pk=self.kwargs["pk"])
        return readings_of(building, parameters(ReadingsQuery, self.request))

    @extend_schema(
        operation_id="readings",
        summary="Readings in the order they were recorded",
        tags=["readings"],
        parameters=[ReadingsQuery],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List readings in pages."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        operation_id="record_readings",
        summary="Record readings, all of them or none",
        description="Safe to send again: a reading whose id and content are known is "
        "`repeated`, not stored twice. One that is refused keeps all others out (422), "
        "unless `keep_good`. 201 when something new was stored, 200 when nothing was.",
        tags=["readings"],
        request={"application/json": READINGS_IN},
        responses={200: RecordedOut, 201: RecordedOut},
        examples=READINGS,
    )
    def post(self, request: Request, pk: int) -> Any:
        """Hand readings to the record's one door."""
        building = seen_or_404(buildings_of(self.person), "building", pk=pk)
        sent = asked(ReadingsIn, request)
        with no_long_wait():
            recorded = record_readings(
                actor=self.person,
                building=building,
                entries=sent["readings"],
                keep_good=sent["keep_good"],
            )
            # Whoever sends again may do so because the first time broke off here.
            if recorded.repeated and not recorded.stored:
                building.refresh_from_db()
                if building.evaluation_due_since is not None:
                    catch_up(building)
        good = recorded.stored or recorded.repeated
        if recorded.refused and not (sent["keep_good"] and good):
            errors = refusals_of(recorded.refused)
            detail = (
                f"{len(errors)} of the readings' members do not fit; none is stored."
            )
            return problem(REFUSED, detail, errors=errors)
        code = status.HTTP_201_CREATED if recorded.stored else status.HTTP_200_OK
        return Response(_told(building, recorded), status=code)


def _told(building: Building, recorded: Recorded) -> dict[str, Any]:
    """Say what became of the readings, and where the building stands."""
    context = {"verdicts": verdicts_of(building)}
    return {
        "stored": StoredReadingOut(recorded.stored, many=True, context=context).data,
        "repeated": [row.client_id for row in recorded.repeated],
        "refused": RefusalOut(recorded.refused, many=True).data,
        "evaluation": summary_of(building),
    }
