"""Responses: jobs, buildings and plans."""

from typing import Any, ClassVar

from rest_framework import serializers

from api.serializers.people import PersonOut
from jobs.models import Building, Job, PlanRevision, Stage
from jobs.queries import build_building_row


class StageOut(serializers.ModelSerializer[Stage]):
    """The state of a stage."""

    class Meta:
        model = Stage
        fields: ClassVar = ["kind", "state", "blocked_by", "changed_at"]


class BuildingOut(serializers.ModelSerializer[Building]):
    """A building with its stages and its next step."""

    stages = StageOut(many=True)
    waits_for = serializers.SerializerMethodField()
    job = serializers.IntegerField(source="job_id")

    class Meta:
        model = Building
        fields: ClassVar = [
            "id",
            "job",
            "name",
            "steel",
            "created_at",
            "required_checks",
            "settled_checks",
            "open_findings",
            "undecided_findings",
            "last_reading_at",
            "evaluation_due_since",
            "waits_for",
            "stages",
        ]

    def get_waits_for(self, building: Building) -> str:
        """Return the text that the jobs page shows."""
        return build_building_row(building).blocker


class JobOut(serializers.ModelSerializer[Job]):
    """A job with its buildings, and the client's roles on it."""

    buildings = BuildingOut(many=True)
    my_roles = serializers.SerializerMethodField()

    class Meta:
        model = Job
        fields: ClassVar = [
            "id",
            "number",
            "name",
            "customer",
            "site",
            "ship_date",
            "opened_at",
            "my_roles",
            "buildings",
        ]

    def get_my_roles(self, job: Job) -> list[str]:
        """Return the roles that the view prefetched."""
        return [membership.role for membership in job.mine]  # type: ignore[attr-defined]


class PlanDifferenceOut(serializers.Serializer[Any]):
    """One value before and after."""

    name = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()


class PlanChangeOut(serializers.Serializer[Any]):
    """One change of the plan."""

    subject = serializers.CharField()
    name = serializers.CharField()
    what = serializers.CharField()
    differences = PlanDifferenceOut(many=True)


class RevisionOut(serializers.ModelSerializer[PlanRevision]):
    """One revision of a plan."""

    drawn_by = PersonOut()

    class Meta:
        model = PlanRevision
        fields: ClassVar = ["number", "digest", "note", "drawn_by", "drawn_at"]


class PlanIssueOut(serializers.Serializer[Any]):
    """One revision of a plan, with its changes."""

    revision = RevisionOut()
    changes = PlanChangeOut(many=True)
