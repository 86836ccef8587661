"""Responses: concrete entries."""

from typing import Any, ClassVar

from rest_framework import serializers

from api.serializers.people import PersonOut
from api.serializers.readings import BuildingSummaryOut, DocumentIssueOut
from checks.models import ConcreteEntry


class ConcreteEntryOut(serializers.ModelSerializer[ConcreteEntry]):
    """One concrete entry as typed, with its recorder and replacement."""

    id = serializers.CharField(source="client_id", help_text="Client id.")
    entry = serializers.DictField(help_text="As typed.")
    supersedes = serializers.CharField(
        source="supersedes.client_id", default=None, allow_null=True
    )
    replaced_by = serializers.CharField(
        source="replaced_by.client_id", default=None, allow_null=True
    )
    recorded_by = PersonOut()

    class Meta:
        model = ConcreteEntry
        fields: ClassVar = [
            "id",
            "kind",
            "entry",
            "at",
            "on",
            "supersedes",
            "replaced_by",
            "recorded_by",
            "recorded_at",
        ]


class ConcreteReceiptOut(serializers.Serializer[Any]):
    """The outcome of recording concrete entries."""

    stored = ConcreteEntryOut(many=True)
    repeated = serializers.ListField(
        child=serializers.CharField(), help_text="Ids that were already recorded."
    )
    refused = DocumentIssueOut(many=True)
    evaluation = BuildingSummaryOut()
