"""Hold points, releases, and the public verification of a digest."""

import re

from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import (
    PublicView,
    RecordView,
    get_visible_or_404,
    lock_timeout,
    validated_body,
)
from api.examples import RELEASE_EXAMPLES
from api.queries import list_buildings, list_releases
from api.request_serializers import ReleaseIn
from api.serializers.releases import (
    GateOut,
    ReleaseDetailOut,
    ReleaseOut,
    VerificationOut,
)
from api.services import require_signature
from checks.services.hold_points import list_release_gates
from checks.services.releases import find_verified_release, sign_release
from core.models import SignatureMethod

DIGEST_PATTERN = re.compile(r"[0-9a-fA-F]{64}")


class ReleaseListView(RecordView):
    """Hold points of a building."""

    throttle_scope = "password"

    def get_throttles(self) -> list[object]:  # type: ignore[override]
        """Return throttles: only signatures count as attempts at a password."""
        throttles = super().get_throttles()
        return throttles if self.request.method == "POST" else throttles[:1]  # type: ignore[return-value]

    @extend_schema(
        operation_id="releases",
        summary="List the hold points of a building: signed, or what blocks each",
        tags=["releases"],
        responses=GateOut(many=True),
    )
    def get(self, request: Request, pk: int) -> Response:
        """List the hold points in order."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        return Response(GateOut(list_release_gates(building), many=True).data)

    @extend_schema(
        operation_id="sign_release",
        summary="Sign a release",
        description="409 with `missing` while requirements are missing.",
        tags=["releases"],
        request=ReleaseIn,
        responses={201: ReleaseOut},
        examples=RELEASE_EXAMPLES,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Sign a release."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        body = validated_body(ReleaseIn, request)
        require_signature(request._request, self.person, body.pop("password"))
        with lock_timeout():
            signed = sign_release(
                actor=self.person,
                building=building,
                signed_with=SignatureMethod.PASSWORD,
                **body,
            )
        return Response(ReleaseOut(signed).data, status=status.HTTP_201_CREATED)


class ReleaseView(RecordView):
    """One signed release."""

    @extend_schema(
        operation_id="release",
        summary="Get a signed release with its frozen record",
        tags=["releases"],
        responses=ReleaseDetailOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """Return the release."""
        release = get_visible_or_404(list_releases(self.person), "release", pk=pk)
        return Response(ReleaseDetailOut(release).data)


class VerifyView(PublicView):
    """Public verification of the digest on a printed release."""

    @extend_schema(
        operation_id="verify",
        summary="Verify the digest of a release",
        tags=["releases"],
        auth=[],
        responses=VerificationOut,
    )
    def get(self, request: Request, digest: str) -> Response:
        """Return the release if its record still has the digest."""
        if not DIGEST_PATTERN.fullmatch(digest):
            msg = "This is not a digest. A digest has 64 characters, 0 to 9 and a to f."
            raise Http404(msg)
        release = find_verified_release(digest)
        if release is None:
            msg = (
                "No release has this digest. The document is from another system, or "
                "it was changed. Compare every character."
            )
            raise Http404(msg)
        answer = Response(VerificationOut(release).data)
        answer["Cache-Control"] = "no-store"
        return answer
