"""Request serializers: bodies and query parameters, unknown members refused."""

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from checks.models import ConcreteEntry, Finding, Release
from core.vocabulary import DispositionKind, SteelState
from jobs.models import Stage

MAX_NOTE_LENGTH = 2000
INDEX_PATTERN = re.compile(r"[0-9]{1,6}")
ZONE_PATTERN = re.compile(r"([Zz]|[-+][0-9]{2}:?[0-9]{2})$")


class StrictSerializer(serializers.Serializer[Any]):
    """A body, or query parameters; unknown members are refused."""

    default_error_messages: ClassVar = {"invalid": "An object was expected."}

    def to_internal_value(self, data: Any) -> Any:
        """Validate the members, the unknown ones first."""
        unknown = set(data) - set(self.fields) if isinstance(data, Mapping) else ()
        if unknown:
            message = f"Unknown field. The fields are: {', '.join(self.fields)}."
            raise serializers.ValidationError(dict.fromkeys(sorted(unknown), message))
        return super().to_internal_value(data)


class AwareDateTimeField(serializers.DateTimeField):
    """A date and time with its time zone: hours decide which reading is later."""

    default_error_messages: ClassVar = {
        "zone": "A time zone is missing. Add Z or an offset such as +02:00."
    }

    def to_internal_value(self, value: Any) -> datetime:
        """Validate the time; a missing zone is refused, not guessed."""
        if isinstance(value, str) and not ZONE_PATTERN.search(value.strip()):
            self.fail("zone")
        return super().to_internal_value(value)


class ReadingEntriesField(serializers.Field[Any, Any, Any, Any]):
    """Readings as in the exchange document; `record_readings` validates them."""

    default_error_messages: ClassVar = {"list": "A list of readings was expected."}

    def to_internal_value(self, data: Any) -> list[Any]:
        """Accept any list."""
        if not isinstance(data, list):
            self.fail("list")
        return data

    def to_representation(self, value: Any) -> Any:
        """Return the value: the field is only read."""
        return value


class ConcreteEntriesField(ReadingEntriesField):
    """Concrete entries; `record_concrete` validates them."""

    default_error_messages: ClassVar = {"list": "A list of entries was expected."}


class ConcreteIn(StrictSerializer):
    """Concrete entries to record."""

    entries = ConcreteEntriesField(help_text="Each with its kind and a client id.")


class ReadingsIn(StrictSerializer):
    """Readings to record."""

    readings = ReadingEntriesField(
        help_text="Entries of padstone.building/1, with client ids."
    )
    keep_good = serializers.BooleanField(
        default=False,
        help_text="Store the valid readings even if others are refused.",
    )


class SteelStateIn(StrictSerializer):
    """How far the steel of a building is."""

    steel = serializers.ChoiceField(choices=SteelState.choices())
    note = serializers.CharField(
        default="",
        allow_blank=True,
        max_length=200,
        help_text="Required to call shipped steel back.",
    )


class SignedBody(StrictSerializer):
    """A signed body: the sender enters their password again."""

    password = serializers.CharField(
        write_only=True,
        trim_whitespace=False,
        max_length=4096,
        help_text="Password of the signed-in person; a token is no signature.",
    )


@extend_schema_field(
    {"oneOf": [{"type": "integer", "minimum": 0}, {"const": "accept"}]}
)
class RemedyChoiceField(serializers.Field[Any, Any, Any, Any]):
    """The index of a remedy, or the word accept."""

    default_error_messages: ClassVar = {
        "choice": "Send the index of one of the finding's remedies, or accept."
    }

    def to_internal_value(self, data: Any) -> int | str:
        """Validate either."""
        if data == "accept":
            return "accept"
        text = (
            data if isinstance(data, str | int) and not isinstance(data, bool) else ""
        )
        if not INDEX_PATTERN.fullmatch(str(text)):
            self.fail("choice")
        return int(text)

    def to_representation(self, value: Any) -> Any:
        """Return the value: the field is only read."""
        return value


class DecisionIn(SignedBody):
    """A decision on a finding."""

    choice = RemedyChoiceField(
        help_text="Index in the finding's remedies, or the word accept."
    )
    disposition = serializers.ChoiceField(choices=DispositionKind.choices())
    note = serializers.CharField(
        default="",
        allow_blank=True,
        max_length=MAX_NOTE_LENGTH,
        help_text="Instruction for the field.",
    )
    seen = serializers.IntegerField(
        required=False,
        allow_null=True,
        help_text="The finding's `seen` when you read it; 409 if it changed since.",
    )


class RemeasureIn(StrictSerializer):
    """A request to measure again, with its reason."""

    note = serializers.CharField(max_length=MAX_NOTE_LENGTH)
    seen = serializers.IntegerField(required=False, allow_null=True)


class WithdrawIn(StrictSerializer):
    """The withdrawal of a reading, with its reason."""

    reason = serializers.CharField(max_length=500)


class CarryOutIn(StrictSerializer):
    """A report that a decision was carried out."""

    at = AwareDateTimeField(help_text="With a time zone.")
    note = serializers.CharField(
        default="",
        allow_blank=True,
        max_length=MAX_NOTE_LENGTH,
        help_text="What was done. Required here; photographs are sent afterwards.",
    )


class PhotographIn(StrictSerializer):
    """A photograph, with the check, reading, finding or decision it shows."""

    id = serializers.UUIDField(
        help_text="Chosen by the client, one for each photograph."
    )
    file = serializers.FileField(
        max_length=255, help_text="A JPEG, PNG or WebP of at most 20 MB."
    )
    taken_at = AwareDateTimeField(
        required=False, help_text="With a time zone; default: now."
    )
    caption = serializers.CharField(
        default="", allow_blank=True, max_length=200, help_text="Caption."
    )
    check = serializers.CharField(
        default="", allow_blank=True, max_length=120, help_text="Key of a check."
    )
    reading = serializers.CharField(
        default="", allow_blank=True, max_length=64, help_text="Id of a reading."
    )
    finding = serializers.IntegerField(required=False)
    decision = serializers.IntegerField(
        required=False, help_text="A decision that is reported as carried out."
    )


class ReleaseIn(SignedBody):
    """A release to sign."""

    kind = serializers.ChoiceField(choices=Release.Kind.choices())
    note = serializers.CharField(
        default="", allow_blank=True, max_length=MAX_NOTE_LENGTH
    )


class TokenIn(StrictSerializer):
    """A new token; with user name and password where there is no session."""

    username = serializers.CharField(required=False, max_length=150)
    password = serializers.CharField(
        required=False, write_only=True, trim_whitespace=False, max_length=4096
    )
    name = serializers.CharField(
        max_length=60, help_text="Whose phone, or which program."
    )
    days = serializers.IntegerField(
        default=90, min_value=1, max_value=400, help_text="Days until it expires."
    )


class NoteQuery(StrictSerializer):
    """Query parameters of a document: a note."""

    note = serializers.CharField(
        default="", allow_blank=True, max_length=200, help_text="What changed and why."
    )


class PageQuery(StrictSerializer):
    """Query parameters of every paginated list."""

    cursor = serializers.CharField(required=False, allow_blank=True, max_length=200)
    limit = serializers.CharField(
        required=False,
        allow_blank=True,
        max_length=9,
        help_text="Page size, 1 to 500; default 100.",
    )


class JobsQuery(PageQuery):
    """Filters of jobs."""

    text = serializers.CharField(
        default="", allow_blank=True, max_length=200, help_text="Search text."
    )
    status = serializers.ChoiceField(
        choices=["all", "current", "finished"], default="all"
    )
    stage = serializers.ChoiceField(
        choices=Stage.Kind.choices, default="", allow_blank=True
    )
    state = serializers.ChoiceField(
        choices=Stage.State.choices, default="", allow_blank=True
    )
    within = serializers.IntegerField(
        required=False,
        min_value=0,
        max_value=3660,
        help_text="Days until the ship date, at most.",
    )
    findings = serializers.BooleanField(
        default=False, help_text="Only jobs with open findings."
    )
    mine = serializers.BooleanField(default=False, help_text="Only jobs you are on.")
    waiting = serializers.BooleanField(
        default=False, help_text="Only jobs whose next step is yours."
    )


class ReadingsQuery(PageQuery):
    """Filters of readings."""

    check = serializers.CharField(
        required=False, max_length=120, help_text="Readings of one check, by its key."
    )
    mark = serializers.CharField(
        required=False,
        max_length=40,
        help_text="Readings of one position, by its mark.",
    )
    since = AwareDateTimeField(
        required=False, help_text="Recorded at this time or later."
    )
    standing = serializers.BooleanField(
        default=False, help_text="Only current readings, which no later one supersedes."
    )


class ConcreteQuery(PageQuery):
    """Filters of concrete entries."""

    kind = serializers.ChoiceField(choices=ConcreteEntry.Kind.choices, required=False)
    since = AwareDateTimeField(
        required=False, help_text="Recorded at this time or later."
    )
    standing = serializers.BooleanField(
        default=False, help_text="Only current entries, which no later one supersedes."
    )


class PhotographsQuery(PageQuery):
    """Filters of photographs."""

    check = serializers.CharField(
        required=False,
        max_length=120,
        help_text="Photographs of one check, by its key.",
    )
    mark = serializers.CharField(
        required=False,
        max_length=40,
        help_text="Photographs of one position, by its mark.",
    )
    finding = serializers.IntegerField(
        required=False, help_text="Photographs of one finding and of the work on it."
    )
    since = AwareDateTimeField(
        required=False, help_text="Recorded at this time or later."
    )


class FindingsQuery(PageQuery):
    """Filters of findings."""

    job = serializers.IntegerField(required=False)
    building = serializers.IntegerField(required=False)
    state = serializers.ChoiceField(choices=Finding.State.choices, required=False)
    undecided = serializers.BooleanField(
        default=False, help_text="Only findings that need a decision."
    )


class EvaluationQuery(StrictSerializer):
    """Query parameters of the state of an evaluation."""

    change = serializers.IntegerField(
        required=False, min_value=0, help_text="As `follow_up` names it."
    )


class SheetQuery(StrictSerializer):
    """Query parameters of the check sheet."""

    expected = serializers.ChoiceField(
        choices=["shown", "hidden"],
        default="shown",
        help_text="hidden: nothing tells the expected value of a check until it has "
        "a reading.",
    )
