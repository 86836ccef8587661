"""What became known of a building's concrete, and the way in for more."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import generics, status
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import RecordView, asked, no_long_wait, parameters, seen_or_404
from api.errors import REFUSED, problem, refusals_of
from api.examples import CONCRETE
from api.openapi import CONCRETE_IN
from api.pagination import PagesInOrder
from api.queries import buildings_of, concrete_of, summary_of
from api.requests import ConcreteIn, ConcreteQuery
from api.serializers.concrete import ConcreteEntryOut, RecordedConcreteOut
from api.services import catch_up
from checks.models import ConcreteEntry
from checks.services.concrete import record_concrete


class Concrete(RecordView, generics.ListAPIView[ConcreteEntry]):
    """Every entry of a building's concrete; and the way in for more."""

    serializer_class = ConcreteEntryOut
    pagination_class = PagesInOrder

    def get_queryset(self) -> QuerySet[ConcreteEntry]:
        """Give what the parameters ask for, the oldest first."""
        buildings = buildings_of(self.person)
        building = seen_or_404(buildings, "building", pk=self.kwargs["pk"])
        return concrete_of(building, parameters(ConcreteQuery, self.request))

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
        request={"application/json": CONCRETE_IN},
        responses={200: RecordedConcreteOut, 201: RecordedConcreteOut},
        examples=CONCRETE,
    )
    def post(self, request: Request, pk: int) -> Any:
        """Hand entries to the record's door for them."""
        building = seen_or_404(buildings_of(self.person), "building", pk=pk)
        sent = asked(ConcreteIn, request)
        with no_long_wait():
            recorded = record_concrete(
                actor=self.person, building=building, entries=sent["entries"]
            )
            # Whoever sends again may do so because the first time broke off here.
            if recorded.repeated and not recorded.stored:
                building.refresh_from_db()
                if building.evaluation_due_since is not None:
                    catch_up(building)
        if recorded.refused:
            errors = refusals_of(recorded.refused)
            detail = (
                f"{len(errors)} of the entries' members do not fit; none is stored."
            )
            return problem(REFUSED, detail, errors=errors)
        told = {
            "stored": recorded.stored,
            "repeated": [row.client_id for row in recorded.repeated],
            "refused": [],
            "evaluation": summary_of(building),
        }
        code = status.HTTP_201_CREATED if recorded.stored else status.HTTP_200_OK
        return Response(RecordedConcreteOut(told).data, status=code)
