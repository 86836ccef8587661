"""Responses: findings and decisions."""

from typing import ClassVar

from rest_framework import serializers

from api.serializers.people import PersonOut
from api.serializers.photographs import PhotographOut
from checks.labels import describe_topic
from checks.models import Decision, Finding, FindingEvent, WorkReport


class FindingOut(serializers.ModelSerializer[Finding]):
    """Something out of tolerance that needs a decision."""

    building = serializers.IntegerField(source="building_id")
    job = serializers.IntegerField(source="building.job_id")
    finding = serializers.CharField(source="topic")
    words = serializers.SerializerMethodField()
    closing = serializers.ChoiceField(
        source="closed_reason", choices=Finding.ClosedReason.choices, allow_blank=True
    )
    remedies = serializers.ListField(child=serializers.DictField())
    checks = serializers.ListField(child=serializers.CharField())
    likely_cause = serializers.DictField(allow_null=True)

    class Meta:
        model = Finding
        fields: ClassVar = [
            "id",
            "job",
            "building",
            "finding",
            "words",
            "checks",
            "approval",
            "state",
            "opened_at",
            "closed_at",
            "closing",
            "flagged_at",
            "likely_cause",
            "remedies",
        ]

    def get_words(self, finding: Finding) -> str:
        """Return the label of the topic."""
        return describe_topic(finding.topic)


class EventOut(serializers.ModelSerializer[FindingEvent]):
    """One step in a finding's history."""

    person = PersonOut(allow_null=True)

    class Meta:
        model = FindingEvent
        fields: ClassVar = ["id", "kind", "at", "person", "note"]


class WorkReportOut(serializers.ModelSerializer[WorkReport]):
    """A report that a decision was carried out."""

    person = PersonOut()
    photographs = PhotographOut(many=True)

    class Meta:
        model = WorkReport
        fields: ClassVar = ["at", "person", "note", "recorded_at", "photographs"]


class DecisionOut(serializers.ModelSerializer[Decision]):
    """A decision."""

    finding = serializers.IntegerField(source="finding_id")
    engineer = PersonOut()
    remedy = serializers.DictField()
    carried_out = WorkReportOut(source="work_report", allow_null=True, default=None)

    class Meta:
        model = Decision
        fields: ClassVar = [
            "id",
            "finding",
            "remedy",
            "disposition",
            "note",
            "digest",
            "engineer",
            "made_at",
            "carried_out",
        ]


class FindingDetailOut(FindingOut):
    """A finding with its history; send `seen` back with a decision."""

    events = EventOut(many=True)
    decisions = DecisionOut(many=True)
    seen = serializers.SerializerMethodField()

    class Meta(FindingOut.Meta):
        fields: ClassVar = [*FindingOut.Meta.fields, "seen", "events", "decisions"]

    def get_seen(self, finding: Finding) -> int | None:
        """Return the id of the latest event."""
        events = list(finding.events.all())
        return events[-1].pk if events else None
