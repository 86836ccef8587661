"""Responses: photographs, with the addresses of their files."""

from typing import ClassVar

from django.urls import reverse
from rest_framework import serializers

from api.serializers.people import PersonOut
from checks.models import Photograph


class PhotographOut(serializers.ModelSerializer[Photograph]):
    """A photograph as stored: an upright JPEG without metadata."""

    id = serializers.UUIDField(source="client_id", help_text="Client id.")
    check = serializers.CharField(source="check_key")
    reading = serializers.CharField(
        source="reading.client_id", default=None, allow_null=True
    )
    finding = serializers.IntegerField(source="finding_id", allow_null=True)
    decision = serializers.IntegerField(
        source="work_report.decision_id",
        default=None,
        allow_null=True,
        help_text="Decision whose work it shows.",
    )
    recorded_by = PersonOut()
    file = serializers.SerializerMethodField(help_text="Address of the full image.")
    small = serializers.SerializerMethodField(help_text="Address of the thumbnail.")

    class Meta:
        model = Photograph
        fields: ClassVar = [
            "id",
            "check",
            "reading",
            "finding",
            "decision",
            "caption",
            "taken_at",
            "recorded_by",
            "recorded_at",
            "width",
            "height",
            "size",
            "digest",
            "file",
            "small",
        ]

    def get_file(self, photograph: Photograph) -> str:
        """Return the address of the full image."""
        return _photograph_url(photograph, photograph.digest)

    def get_small(self, photograph: Photograph) -> str:
        """Return the address of the thumbnail."""
        return _photograph_url(photograph, photograph.small_digest)


def _photograph_url(photograph: Photograph, digest: str) -> str:
    return reverse("api:photograph", args=[photograph.building_id, digest])
