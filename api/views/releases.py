"""Hold points, their signatures, and the public check of a digest."""

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
    """The gates of a building."""

    throttle_scope = "password"

    def get_throttles(self) -> list[object]:  # type: ignore[override]
        """Count only signatures as such."""
        found = super().get_throttles()
        return found if self.request.method == "POST" else found[:1]  # type: ignore[return-value]

    @extend_schema(
        operation_id="releases",
        summary="The gates of a building: signed, or what each waits for",
        tags=["releases"],
        responses=GateOut(many=True),
    )
    def get(self, request: Request, pk: int) -> Response:
        """List the gates in their order."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        return Response(GateOut(list_release_gates(building), many=True).data)

    @extend_schema(
        operation_id="sign_release",
        summary="Sign a release",
        description="409 with `missing` while something stands in its way.",
        tags=["releases"],
        request=ReleaseIn,
        responses={201: ReleaseOut},
        examples=RELEASE_EXAMPLES,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Sign."""
        building = get_visible_or_404(list_buildings(self.person), "building", pk=pk)
        wanted = validated_body(ReleaseIn, request)
        require_signature(request._request, self.person, wanted.pop("password"))
        with lock_timeout():
            signed = sign_release(
                actor=self.person,
                building=building,
                signed_with=SignatureMethod.PASSWORD,
                **wanted,
            )
        return Response(ReleaseOut(signed).data, status=status.HTTP_201_CREATED)


class ReleaseView(RecordView):
    """One signed release."""

    @extend_schema(
        operation_id="release",
        summary="A signed release with the record it froze",
        tags=["releases"],
        responses=ReleaseDetailOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """Give the release."""
        found = get_visible_or_404(list_releases(self.person), "release", pk=pk)
        return Response(ReleaseDetailOut(found).data)


class VerifyView(PublicView):
    """Whether a digest is that of a release, for anyone who holds the paper."""

    @extend_schema(
        operation_id="verify",
        summary="Whether a digest is that of a release signed here",
        tags=["releases"],
        auth=[],
        responses=VerificationOut,
    )
    def get(self, request: Request, digest: str) -> Response:
        """Say what was signed, if the record still gives the digest."""
        if not DIGEST_PATTERN.fullmatch(digest):
            msg = "This is not a digest: one has 64 characters, 0 to 9 and a to f."
            raise Http404(msg)
        found = find_verified_release(digest)
        if found is None:
            msg = (
                "No release signed here has this digest: the paper is of another "
                "house, or it was changed since. Compare every character."
            )
            raise Http404(msg)
        answer = Response(VerificationOut(found).data)
        answer["Cache-Control"] = "no-store"
        return answer
