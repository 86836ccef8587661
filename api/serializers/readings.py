"""Responses: readings, the check sheet and shims."""

from collections.abc import Mapping
from typing import Any, ClassVar

from rest_framework import serializers

from api.serializers.jobs import BuildingOut, RevisionOut
from api.serializers.people import PersonOut
from checks.models import Reading
from core.vocabulary import Verdict

READING_FIELDS = (
    "id",
    "check",
    "entered",
    "value_mm",
    "value_mpa",
    "crew",
    "instrument",
    "supersedes",
    "taken_at",
    "recorded_at",
    "recorded_by",
)


class BuildingSummaryOut(serializers.Serializer[Any]):
    """The state of a building after its latest evaluation."""

    id = serializers.IntegerField(
        allow_null=True, help_text="Number of the evaluation."
    )
    due = serializers.BooleanField(
        help_text="True while something stored has not been evaluated."
    )
    evaluated_at = serializers.DateTimeField(allow_null=True)
    evaluated_with = serializers.CharField(allow_null=True)
    required_checks = serializers.IntegerField()
    settled_checks = serializers.IntegerField()
    open_findings = serializers.IntegerField()
    undecided_findings = serializers.IntegerField()
    verdicts = serializers.DictField(child=serializers.IntegerField())


class CheckOut(serializers.Serializer[Any]):
    """One check of the sheet with its result; mm, or MPa for a strength."""

    check = serializers.CharField()
    kind = serializers.CharField()
    section = serializers.CharField(help_text="Section of the walk.")
    words = serializers.CharField()
    mark = serializers.CharField(allow_null=True)
    rods = serializers.ListField(child=serializers.IntegerField())
    corners = serializers.ListField(child=serializers.CharField())
    name = serializers.CharField(allow_null=True)
    axis = serializers.CharField(allow_null=True)
    required = serializers.BooleanField()  # type: ignore[assignment]
    stage = serializers.CharField()
    unit = serializers.ChoiceField(choices=["mm", "MPa"])
    nominal = serializers.FloatField(allow_null=True)
    verdict = serializers.ChoiceField(choices=Verdict.values())
    readings = serializers.IntegerField(help_text="Number of current readings.")
    measure_again = serializers.CharField(
        allow_null=True, help_text="Id of the reading that the next one supersedes."
    )
    observed = serializers.FloatField(allow_null=True)
    deviation = serializers.FloatField(allow_null=True)
    limit = serializers.FloatField(allow_null=True)
    lower = serializers.FloatField(allow_null=True)
    upper = serializers.FloatField(allow_null=True)
    uncertainty = serializers.FloatField(allow_null=True)
    probability = serializers.FloatField(allow_null=True)
    close_to_limit = serializers.BooleanField(allow_null=True)
    reason = serializers.CharField(allow_null=True)
    reading_ids = serializers.ListField(child=serializers.CharField(), allow_null=True)


class SheetOut(serializers.Serializer[Any]):
    """The check sheet, in the order of the walk."""

    evaluation = BuildingSummaryOut()
    checks = CheckOut(many=True)


class ShimOut(serializers.Serializer[Any]):
    """One pad and its shims; mm."""

    mark = serializers.CharField()
    verdict = serializers.ChoiceField(choices=Verdict.values())
    height = serializers.FloatField(
        allow_null=True, help_text="From the highest pad, which is 0."
    )
    shim = serializers.FloatField(allow_null=True)
    stack = serializers.ListField(
        child=serializers.CharField(), allow_null=True, help_text="Thickest first."
    )
    residual = serializers.FloatField(allow_null=True)
    thread_left = serializers.FloatField(allow_null=True)


class ShimPackOut(serializers.Serializer[Any]):
    """The number of shims of one thickness."""

    thickness = serializers.CharField()
    count = serializers.IntegerField()


class ShimsOut(serializers.Serializer[Any]):
    """Shims by position, and the pack list."""

    evaluated_at = serializers.DateTimeField()
    pads = ShimOut(many=True)
    pack_list = ShimPackOut(many=True)
    lower_pad = serializers.DictField(
        allow_null=True,
        help_text="The one pad to lower instead, if that saves most shims.",
    )
    cautions = serializers.ListField(child=serializers.CharField())


class ReadingOut(serializers.ModelSerializer[Reading]):
    """One reading as taken."""

    id = serializers.CharField(source="client_id")
    check = serializers.CharField(source="check_key")
    value_mm = serializers.SerializerMethodField()
    value_mpa = serializers.SerializerMethodField()
    instrument = serializers.CharField(
        source="entry.instrument", default=None, allow_null=True
    )
    supersedes = serializers.CharField(
        source="supersedes.client_id", default=None, allow_null=True
    )
    recorded_by = PersonOut()

    class Meta:
        model = Reading
        fields: ClassVar = list(READING_FIELDS)

    def get_value_mm(self, reading: Reading) -> float | None:
        """Return a length in mm."""
        return None if _is_strength(reading) else float(reading.value)

    def get_value_mpa(self, reading: Reading) -> float | None:
        """Return a strength in MPa."""
        return float(reading.value) if _is_strength(reading) else None


class ReadingHistoryOut(ReadingOut):
    """A recorded reading with its replacement."""

    replaced_by = serializers.CharField(
        source="replaced_by.client_id", default=None, allow_null=True
    )
    revision = serializers.IntegerField(
        source="revision.number", help_text="Plan revision it was taken on."
    )
    withdrawn = serializers.CharField(
        allow_null=True,
        help_text="Why it does not count; null if it was not withdrawn.",
    )
    entry = serializers.DictField(help_text="As typed.")

    class Meta(ReadingOut.Meta):
        fields: ClassVar = [
            *READING_FIELDS,
            "replaced_by",
            "revision",
            "withdrawn",
            "entry",
        ]


class NewReadingOut(ReadingOut):
    """A new reading with the verdict of its check."""

    verdict = serializers.SerializerMethodField()

    class Meta(ReadingOut.Meta):
        fields: ClassVar = [*READING_FIELDS, "verdict"]

    def get_verdict(self, reading: Reading) -> str | None:
        """Return the verdict; None where it follows."""
        verdicts: Mapping[str, str] = self.context["verdicts"]
        return verdicts.get(reading.check_key)


class DocumentIssueOut(serializers.Serializer[Any]):
    """One error of a document: where it is, and how to fix it."""

    pointer = serializers.CharField(help_text="JSON Pointer (RFC 6901).")
    message = serializers.CharField()


class ReadingsReceiptOut(serializers.Serializer[Any]):
    """The outcome of recording readings."""

    stored = NewReadingOut(many=True)
    repeated = serializers.ListField(
        child=serializers.CharField(), help_text="Ids that were already recorded."
    )
    refused = DocumentIssueOut(many=True)
    covered_by = serializers.IntegerField(
        allow_null=True,
        help_text="Number of the evaluation that has seen the readings; null where "
        "they are recorded and the verdict follows.",
    )
    follow_up = serializers.CharField(
        allow_null=True,
        help_text="Where to ask for the verdict while `covered_by` is null: the path "
        "of `evaluation_state`.",
    )
    evaluation = BuildingSummaryOut()


class EvaluationStateOut(serializers.Serializer[Any]):
    """The state of the evaluation of a building, after a change."""

    change = serializers.IntegerField(
        help_text="The change asked for; without one, the last that was recorded."
    )
    covered_by = serializers.IntegerField(
        allow_null=True,
        help_text="Number of the latest evaluation if it has seen the change; null "
        "while the verdict follows.",
    )
    evaluation = BuildingSummaryOut()


class PlanWarningOut(serializers.Serializer[Any]):
    """Something on the plan that no measurement makes right; it is not refused."""

    pointer = serializers.CharField(help_text="JSON Pointer into the document.")
    message = serializers.CharField()


class BuildingImportOut(serializers.Serializer[Any]):
    """The building of an imported document, and the count of its readings."""

    building = BuildingOut()
    readings_stored = serializers.IntegerField()
    readings_repeated = serializers.IntegerField()
    warnings = PlanWarningOut(many=True)
    evaluation = BuildingSummaryOut()


class RevisionReceiptOut(serializers.Serializer[Any]):
    """The current plan after a revision."""

    revision = RevisionOut()
    readings_passed_over = serializers.IntegerField(
        help_text="Readings in the document that were ignored; send them to /readings."
    )
    warnings = PlanWarningOut(many=True)
    evaluation = BuildingSummaryOut()


def _is_strength(reading: Reading) -> bool:
    return reading.check_key.startswith("strength:")
