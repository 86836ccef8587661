"""Findings: list, decide, measure again, carry out."""

from typing import Any

from django.db.models import QuerySet
from django.http import Http404, HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
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
from checks.reports.plate_sheet import find_plate_sheet, write_plate_file
from checks.services.findings import (
    decide_finding,
    report_work_done,
    request_remeasurement,
)
from core.formatting import get_default_style
from core.models import Person, SignatureMethod


class FindingListView(RecordView, generics.ListAPIView[Finding]):
    """Findings that the person may see."""

    serializer_class = FindingOut

    def get_queryset(self) -> QuerySet[Finding]:
        """Return the findings by the query parameters, newest first."""
        return filter_findings(
            self.person, validated_query(FindingsQuery, self.request)
        )

    @extend_schema(
        operation_id="findings",
        summary="List findings",
        tags=["findings"],
        parameters=[FindingsQuery],
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List findings, paginated."""
        return super().get(request, *args, **kwargs)


class FindingView(RecordView):
    """One finding with its history."""

    @extend_schema(
        operation_id="finding",
        summary="Get a finding with its history",
        tags=["findings"],
        responses=FindingDetailOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """Return the finding."""
        return Response(FindingDetailOut(_get_finding(self.person, pk)).data)


class NewPlateView(RecordView):
    """The drawing of a finding's new base plate."""

    @extend_schema(
        operation_id="new_plate",
        summary="Get the drawing of the new base plate of a finding",
        description="The plate as ordered, or else the one computed; the drawing says "
        "which. Its numbers are the `plate` of the remedy.",
        tags=["findings"],
        parameters=[
            OpenApiParameter(
                "kind", OpenApiTypes.STR, OpenApiParameter.PATH, enum=["dxf", "svg"]
            )
        ],
        responses={
            (200, "image/vnd.dxf"): OpenApiTypes.BINARY,
            (200, "image/svg+xml"): OpenApiTypes.BINARY,
        },
    )
    def get(self, request: Request, pk: int, kind: str) -> HttpResponse:
        """Return the drawing."""
        sheet = find_plate_sheet(_get_finding(self.person, pk))
        style = None if sheet is None else get_default_style(sheet.plan.length_unit)
        written = sheet and style and write_plate_file(sheet, kind, style)
        if not written:
            msg = "This finding has no such drawing of a new plate."
            raise Http404(msg)
        return HttpResponse(
            written.content,
            content_type=written.media_type,
            headers={"Content-Disposition": f'attachment; filename="{written.name}"'},
        )


class DecisionListView(RecordView):
    """Decisions on a finding."""

    throttle_scope = "password"

    @extend_schema(
        operation_id="decide",
        summary="Decide: order a remedy, or accept as is; signed",
        description="For the engineer; for the operations manager too, if the remedy "
        "needs only the approval of the field. Never for a person who took the "
        "readings. 409 if the record changed since `seen`.",
        tags=["findings"],
        request=DecisionIn,
        responses={201: DecisionOut},
        examples=DECISION_EXAMPLES,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Record a decision."""
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
    """Requests to measure again."""

    @extend_schema(
        operation_id="ask_again",
        summary="Ask to measure again",
        tags=["findings"],
        request=RemeasureIn,
        responses=FindingDetailOut,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Ask to measure again."""
        finding = _get_finding(self.person, pk)
        with lock_timeout():
            request_remeasurement(
                actor=self.person,
                finding=finding,
                **validated_body(RemeasureIn, request),
            )
        return Response(FindingDetailOut(_get_finding(self.person, pk)).data)


class CarryOutView(RecordView):
    """Reports that a decision was carried out."""

    @extend_schema(
        operation_id="carry_out",
        summary="Report a decision as carried out",
        tags=["findings"],
        request=CarryOutIn,
        responses={201: WorkReportOut},
    )
    def post(self, request: Request, pk: int) -> Response:
        """Record the report."""
        visible = Finding.objects.visible_to(self.person)
        decisions = Decision.objects.filter(finding__in=visible).select_related(
            "finding"
        )
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
