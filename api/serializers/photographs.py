"""Photographs as JSON; their files are fetched by their addresses."""

from typing import ClassVar

from django.urls import reverse
from rest_framework import serializers

from api.serializers.people import PersonOut
from checks.models import Photograph


class PhotographOut(serializers.ModelSerializer[Photograph]):
    """A photograph as it is kept: upright, a JPEG, with no metadata."""

    id = serializers.UUIDField(source="client_id", help_text="As it was sent.")
    check = serializers.CharField(source="check_key")
    reading = serializers.CharField(
        source="reading.client_id", default=None, allow_null=True
    )
    finding = serializers.IntegerField(source="finding_id", allow_null=True)
    decision = serializers.IntegerField(
        source="work_report.decision_id",
        default=None,
        allow_null=True,
        help_text="Whose carrying-out it shows.",
    )
    recorded_by = PersonOut()
    file = serializers.SerializerMethodField(help_text="Address of the whole one.")
    small = serializers.SerializerMethodField(help_text="Address of one for lists.")

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
        """Give the address of the whole one."""
        return _photograph_url(photograph, photograph.digest)

    def get_small(self, photograph: Photograph) -> str:
        """Give the address of the small one."""
        return _photograph_url(photograph, photograph.small_digest)


def _photograph_url(photograph: Photograph, digest: str) -> str:
    return reverse("api:photograph", args=[photograph.building_id, digest])
