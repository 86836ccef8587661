"""Responses: hold points and releases."""

from typing import Any, ClassVar

from rest_framework import serializers

from api.serializers.people import PersonOut
from checks.labels import describe_requirement
from checks.models import Release
from checks.services.hold_points import MissingRequirement


class ReleaseOut(serializers.ModelSerializer[Release]):
    """A signed release."""

    building = serializers.IntegerField(source="building_id")
    revision = serializers.IntegerField(source="revision.number")
    signed_by = PersonOut()

    class Meta:
        model = Release
        fields: ClassVar = [
            "id",
            "building",
            "revision",
            "kind",
            "digest",
            "note",
            "signed_by",
            "signed_at",
        ]


class ReleaseDetailOut(ReleaseOut):
    """A signed release with its frozen record."""

    record = serializers.DictField()

    class Meta(ReleaseOut.Meta):
        fields: ClassVar = [*ReleaseOut.Meta.fields, "record"]


class MissingOut(serializers.Serializer[Any]):
    """One requirement of a release that is missing."""

    what = serializers.SerializerMethodField()
    holds = serializers.BooleanField(
        source="blocks",
        help_text="True where somebody must decide or wait; measuring does not help.",
    )
    keys = serializers.ListField(child=serializers.CharField())

    def get_what(self, item: MissingRequirement) -> str:
        """Describe the requirement."""
        return describe_requirement(item.code, item.keys, item.detail)


class GateOut(serializers.Serializer[Any]):
    """One hold point of a building: signed, or what blocks it."""

    kind = serializers.ChoiceField(choices=Release.Kind.choices())
    label = serializers.CharField()  # type: ignore[assignment]
    release = ReleaseOut(allow_null=True)
    missing = MissingOut(many=True)


class VerificationOut(serializers.Serializer[Any]):
    """A release whose record still has the digest."""

    digest = serializers.CharField()
    kind = serializers.CharField(source="get_kind_display")
    building = serializers.CharField(source="record.building.name")
    job = serializers.CharField(source="record.job.number")
    revision = serializers.IntegerField(source="record.plan.revision")
    signed_by = serializers.CharField(source="record.signed_by.name")
    signed_at = serializers.DateTimeField()
