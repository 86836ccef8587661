"""Findings, and what people do about them."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import generics, status
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import RecordView, asked, no_long_wait, parameters, seen_or_404
from api.examples import DECISIONS
from api.queries import findings_of, with_history
from api.requests import AskIn, CarryOutIn, DecisionIn, FindingsQuery
from api.serializers.findings import (
    CarriedOutOut,
    DecisionOut,
    FindingDetailOut,
    FindingOut,
)
from api.services import require_signature
from checks.models import Decision, Finding
from checks.services.findings import ask_again, carry_out, decide
from core.models import Person, SignedWith


class Findings(RecordView, generics.ListAPIView[Finding]):
    """Every finding this person may see."""

    serializer_class = FindingOut

    def get_queryset(self) -> QuerySet[Finding]:
        """Give what the parameters ask for, the newest first."""
        return findings_of(self.person, parameters(FindingsQuery, self.request))

    @extend_schema(
        operation_id="findings",
        summary="Findings",
        tags=["findings"],
        parameters=[FindingsQuery],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List findings in pages."""
        return super().get(request, *args, **kwargs)


class OneFinding(RecordView):
    """One finding with its history."""

    @extend_schema(
        operation_id="finding",
        summary="One finding with its history",
        tags=["findings"],
        responses=FindingDetailOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """Give the finding."""
        return Response(FindingDetailOut(_seen(self.person, pk)).data)


class Decisions(RecordView):
    """What the engineer orders."""

    throttle_scope = "password"

    @extend_schema(
        operation_id="decide",
        summary="Order a remedy, or accept it as it is; signed",
        description="For the engineer; a remedy the field may do, also for the "
        "operations manager. Never for who took the readings. 409 when the record "
        "moved on since `seen`.",
        tags=["findings"],
        request=DecisionIn,
        responses={201: DecisionOut},
        examples=DECISIONS,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Decide."""
        finding = _seen(self.person, pk)
        order = asked(DecisionIn, request)
        require_signature(request._request, self.person, order.pop("password"))
        with no_long_wait():
            made = decide(
                actor=self.person,
                finding=finding,
                signed_with=SignedWith.PASSWORD,
                **order,
            )
        return Response(DecisionOut(made).data, status=status.HTTP_201_CREATED)


class AskAgain(RecordView):
    """Another measurement, asked for."""

    @extend_schema(
        operation_id="ask_again",
        summary="Ask for another measurement",
        tags=["findings"],
        request=AskIn,
        responses=FindingDetailOut,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Ask."""
        finding = _seen(self.person, pk)
        with no_long_wait():
            ask_again(actor=self.person, finding=finding, **asked(AskIn, request))
        return Response(FindingDetailOut(_seen(self.person, pk)).data)


class CarriedOut(RecordView):
    """A decision, carried out."""

    @extend_schema(
        operation_id="carry_out",
        summary="Report a decision as carried out",
        tags=["findings"],
        request=CarryOutIn,
        responses={201: CarriedOutOut},
    )
    def post(self, request: Request, pk: int) -> Response:
        """Report."""
        seen = Finding.objects.visible_to(self.person)
        decisions = Decision.objects.filter(finding__in=seen).select_related("finding")
        made = seen_or_404(decisions, "decision", pk=pk)
        with no_long_wait():
            done = carry_out(
                actor=self.person, decision=made, **asked(CarryOutIn, request)
            )
        return Response(CarriedOutOut(done).data, status=status.HTTP_201_CREATED)


def _seen(person: Person, pk: int) -> Finding:
    return seen_or_404(with_history(findings_of(person, {})), "finding", pk=pk)
