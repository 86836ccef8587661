"""Hold points, their signatures, and the public check of a digest."""

import re

from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import PublicView, RecordView, asked, no_long_wait, seen_or_404
from api.examples import RELEASES
from api.queries import buildings_of, releases_of
from api.requests import ReleaseIn
from api.serializers.releases import (
    GateOut,
    ReleaseDetailOut,
    ReleaseOut,
    VerifiedOut,
)
from api.services import require_signature
from checks.services.hold_points import gates
from checks.services.releases import sign_release, verify_digest
from core.models import SignedWith

DIGEST = re.compile(r"[0-9a-fA-F]{64}")


class Releases(RecordView):
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
        building = seen_or_404(buildings_of(self.person), "building", pk=pk)
        return Response(GateOut(gates(building), many=True).data)

    @extend_schema(
        operation_id="sign_release",
        summary="Sign a release",
        description="409 with `missing` while something stands in its way.",
        tags=["releases"],
        request=ReleaseIn,
        responses={201: ReleaseOut},
        examples=RELEASES,
    )
    def post(self, request: Request, pk: int) -> Response:
        """Sign."""
        building = seen_or_404(buildings_of(self.person), "building", pk=pk)
        wanted = asked(ReleaseIn, request)
        require_signature(request._request, self.person, wanted.pop("password"))
        with no_long_wait():
            signed = sign_release(
                actor=self.person,
                building=building,
                signed_with=SignedWith.PASSWORD,
                **wanted,
            )
        return Response(ReleaseOut(signed).data, status=status.HTTP_201_CREATED)


class OneRelease(RecordView):
    """One signed release."""

    @extend_schema(
        operation_id="release",
        summary="A signed release with the record it froze",
        tags=["releases"],
        responses=ReleaseDetailOut,
    )
    def get(self, request: Request, pk: int) -> Response:
        """Give the release."""
        found = seen_or_404(releases_of(self.person), "release", pk=pk)
        return Response(ReleaseDetailOut(found).data)


class Verify(PublicView):
    """Whether a digest is that of a release, for anyone who holds the paper."""

    @extend_schema(
        operation_id="verify",
        summary="Whether a digest is that of a release signed here",
        tags=["releases"],
        auth=[],
        responses=VerifiedOut,
    )
    def get(self, request: Request, digest: str) -> Response:
        """Say what was signed, if the record still gives the digest."""
        if not DIGEST.fullmatch(digest):
            msg = "This is not a digest: one has 64 characters, 0 to 9 and a to f."
            raise Http404(msg)
        found = verify_digest(digest)
        if found is None:
            msg = (
                "No release signed here has this digest: the paper is of another "
                "house, or it was changed since. Compare every character."
            )
            raise Http404(msg)
        answer = Response(VerifiedOut(found).data)
        answer["Cache-Control"] = "no-store"
        return answer
