"""What became known of the concrete, as JSON."""

from typing import Any, ClassVar

from rest_framework import serializers

from api.serializers.people import PersonOut
from api.serializers.readings import BuildingSummaryOut, DocumentIssueOut
from checks.models import ConcreteEntry


class ConcreteEntryOut(serializers.ModelSerializer[ConcreteEntry]):
    """One entry as it was typed, by whom, and what became of it."""

    id = serializers.CharField(source="client_id", help_text="As it was sent.")
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
    """What became of the entries that were sent."""

    stored = ConcreteEntryOut(many=True)
    repeated = serializers.ListField(
        child=serializers.CharField(), help_text="Ids that were recorded before."
    )
    refused = DocumentIssueOut(many=True)
    evaluation = BuildingSummaryOut()
