"""Findings, and what people do about them."""

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
from api.examples import DECISION_EXAMPLES
from api.queries import filter_findings, prefetch_history
from api.request_serializers import CarryOutIn, DecisionIn, FindingsQuery, RemeasureIn
from api.serializers.findings import (
    DecisionOut,
    FindingDetailOut,
    FindingOut,
    WorkReportOut,
)
from api.services import require_signature
from checks.models import Decision, Finding
from checks.services.findings import (
    decide_finding,
    report_work_done,
    request_remeasurement,
)
from core.models import Person, SignatureMethod


class FindingListView(RecordView, generics.ListAPIView[Finding]):
    """Every finding this person may see."""

    serializer_class = FindingOut

    def get_queryset(self) -> QuerySet[Finding]:
        """Give what the parameters ask for, the newest first."""
        return filter_findings(
            self.person, validated_query(FindingsQuery, self.request)
        )

    @extend_schema(
        operation_id="findings",
        summary="Findings",
        tags=["findings"],
        parameters=[FindingsQuery],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List findings in pages."""
        return super().get(request, *args, **kwargs)


class FindingView(RecordView):
    """One finding with its history."""

    @extend_schema(
        operation_id="finding",
        summary="One finding with its history",
        tags=["findings"],
        responses=FindingDetailOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """Give the finding."""
        return Response(FindingDetailOut(_get_finding(self.person, pk)).data)


class DecisionListView(RecordView):
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
        examples=DECISION_EXAMPLES,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Decide."""
        finding = _get_finding(self.person, pk)
        order = validated_body(DecisionIn, request)
        require_signature(request._request, self.person, order.pop("password"))
        with lock_timeout():
            made = decide_finding(
                actor=self.person,
                finding=finding,
                signed_with=SignatureMethod.PASSWORD,
                **order,
            )
        return Response(DecisionOut(made).data, status=status.HTTP_201_CREATED)


class RemeasureView(RecordView):
    """Another measurement, asked for."""

    @extend_schema(
        operation_id="ask_again",
        summary="Ask for another measurement",
        tags=["findings"],
        request=RemeasureIn,
        responses=FindingDetailOut,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Ask."""
        finding = _get_finding(self.person, pk)
        with lock_timeout():
            request_remeasurement(
                actor=self.person,
                finding=finding,
                **validated_body(RemeasureIn, request),
            )
        return Response(FindingDetailOut(_get_finding(self.person, pk)).data)


class CarryOutView(RecordView):
    """A decision, carried out."""

    @extend_schema(
        operation_id="carry_out",
        summary="Report a decision as carried out",
        tags=["findings"],
        request=CarryOutIn,
        responses={201: WorkReportOut},
    )
    def post(self, request: Request, pk: int) -> Response:
        """Report."""
        seen = Finding.objects.visible_to(self.person)
        decisions = Decision.objects.filter(finding__in=seen).select_related("finding")
        made = get_visible_or_404(decisions, "decision", pk=pk)
        with lock_timeout():
            done = report_work_done(
                actor=self.person, decision=made, **validated_body(CarryOutIn, request)
            )
        return Response(WorkReportOut(done).data, status=status.HTTP_201_CREATED)


def _get_finding(person: Person, pk: int) -> Finding:
    return get_visible_or_404(
        prefetch_history(filter_findings(person, {})), "finding", pk=pk
    )
