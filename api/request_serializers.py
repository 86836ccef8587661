"""What can be asked: bodies and parameters, each member known or refused."""

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from checks.models import ConcreteEntry, Finding, Release
from core.vocabulary import DispositionKind
from jobs.models import Stage

MAX_NOTE_LENGTH = 2000
INDEX_PATTERN = re.compile(r"[0-9]{1,6}")
ZONE_PATTERN = re.compile(r"([Zz]|[-+][0-9]{2}:?[0-9]{2})$")


class StrictSerializer(serializers.Serializer[Any]):
    """A body or the parameters of an address; a member nobody knows is refused."""

    def to_internal_value(self, data: Any) -> Any:
        """Refuse unknown members, then read the known ones."""
        unknown = set(data) - set(self.fields) if isinstance(data, Mapping) else ()
        if unknown:
            known = ", ".join(self.fields)
            message = f"There is no such member; there are: {known}."
            raise serializers.ValidationError(dict.fromkeys(sorted(unknown), message))
        return super().to_internal_value(data)


class AwareDateTimeField(serializers.DateTimeField):
    """A date and time that names its zone: hours decide what came first."""

    default_error_messages: ClassVar = {
        "zone": "This needs its time zone, such as Z or +02:00 at its end."
    }

    def to_internal_value(self, value: Any) -> datetime:
        """Refuse a time whose zone would be guessed."""
        if isinstance(value, str) and not ZONE_PATTERN.search(value.strip()):
            self.fail("zone")
        return super().to_internal_value(value)


class ReadingEntriesField(serializers.Field[Any, Any, Any, Any]):
    """Readings as the exchange document has them; the record's one door reads them."""

    default_error_messages: ClassVar = {"list": "This has to be a list of readings."}

    def to_internal_value(self, data: Any) -> list[Any]:
        """Take any list."""
        if not isinstance(data, list):
            self.fail("list")
        return data

    def to_representation(self, value: Any) -> Any:
        """Never written."""
        return value


class ConcreteEntriesField(ReadingEntriesField):
    """What became known of the concrete; the record's door for it reads it."""

    default_error_messages: ClassVar = {"list": "This has to be a list of entries."}


class ConcreteIn(StrictSerializer):
    """What became known of a building's concrete."""

    entries = ConcreteEntriesField(help_text="Each with its kind and a client id.")


class ReadingsIn(StrictSerializer):
    """Readings to record."""

    readings = ReadingEntriesField(
        help_text="Entries of padstone.building/1, with client ids."
    )
    keep_good = serializers.BooleanField(
        default=False,
        help_text="Store what is good although other readings are refused.",
    )


class SignedBody(StrictSerializer):
    """What is signed: whoever sends it gives their password again."""

    password = serializers.CharField(
        write_only=True,
        trim_whitespace=False,
        max_length=4096,
        help_text="Of whoever is signed in, as signature; a token is none.",
    )


@extend_schema_field(
    {"oneOf": [{"type": "integer", "minimum": 0}, {"const": "accept"}]}
)
class RemedyChoiceField(serializers.Field[Any, Any, Any, Any]):
    """An index, or the word accept."""

    default_error_messages: ClassVar = {
        "choice": "Give the index of one of the finding's remedies, or accept."
    }

    def to_internal_value(self, data: Any) -> int | str:
        """Read either."""
        if data == "accept":
            return "accept"
        text = (
            data if isinstance(data, str | int) and not isinstance(data, bool) else ""
        )
        if not INDEX_PATTERN.fullmatch(str(text)):
            self.fail("choice")
        return int(text)

    def to_representation(self, value: Any) -> Any:
        """Never written."""
        return value


class DecisionIn(SignedBody):
    """What is ordered about a finding."""

    choice = RemedyChoiceField(
        help_text="Index in the finding's remedies, or the word accept."
    )
    disposition = serializers.ChoiceField(choices=DispositionKind.choices())
    note = serializers.CharField(
        default="", allow_blank=True, max_length=MAX_NOTE_LENGTH, help_text="The order."
    )
    seen = serializers.IntegerField(
        required=False,
        allow_null=True,
        help_text="The finding's `seen` when it was read; 409 if more happened since.",
    )


class RemeasureIn(StrictSerializer):
    """What is to be measured again, and why."""

    note = serializers.CharField(max_length=MAX_NOTE_LENGTH)
    seen = serializers.IntegerField(required=False, allow_null=True)


class CarryOutIn(StrictSerializer):
    """When a decision was carried out."""

    at = AwareDateTimeField(help_text="With its time zone.")
    note = serializers.CharField(
        default="",
        allow_blank=True,
        max_length=MAX_NOTE_LENGTH,
        help_text="What was done. Needed here: photographs of it are sent afterwards.",
    )


class PhotographIn(StrictSerializer):
    """A photograph, and what it is of."""

    id = serializers.UUIDField(help_text="Chosen by who sends it, once for each.")
    file = serializers.FileField(
        max_length=255, help_text="A JPEG, PNG or WebP of at most 20 MB."
    )
    taken_at = AwareDateTimeField(
        required=False, help_text="With its time zone; now without."
    )
    caption = serializers.CharField(
        default="", allow_blank=True, max_length=200, help_text="What it shows."
    )
    check = serializers.CharField(
        default="", allow_blank=True, max_length=120, help_text="A check's key."
    )
    reading = serializers.CharField(
        default="", allow_blank=True, max_length=64, help_text="The id of a reading."
    )
    finding = serializers.IntegerField(required=False)
    decision = serializers.IntegerField(
        required=False, help_text="One that is reported as carried out."
    )


class ReleaseIn(SignedBody):
    """Which gate is signed."""

    kind = serializers.ChoiceField(choices=Release.Kind.choices())
    note = serializers.CharField(
        default="", allow_blank=True, max_length=MAX_NOTE_LENGTH
    )


class TokenIn(StrictSerializer):
    """A token to be made; with name and password where there is no session."""

    username = serializers.CharField(required=False, max_length=150)
    password = serializers.CharField(
        required=False, write_only=True, trim_whitespace=False, max_length=4096
    )
    name = serializers.CharField(
        max_length=60, help_text="Whose phone, or which program."
    )
    days = serializers.IntegerField(
        default=90, min_value=1, max_value=400, help_text="Until it expires."
    )


class NoteQuery(StrictSerializer):
    """A note that goes with a document."""

    note = serializers.CharField(
        default="", allow_blank=True, max_length=200, help_text="What changed and why."
    )


class PageQuery(StrictSerializer):
    """What every list in pages takes."""

    cursor = serializers.CharField(required=False, allow_blank=True, max_length=200)
    limit = serializers.CharField(
        required=False, allow_blank=True, max_length=9, help_text="1 to 500, or 100."
    )


class JobsQuery(PageQuery):
    """Which jobs are listed."""

    text = serializers.CharField(
        default="", allow_blank=True, max_length=200, help_text="Words they mention."
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
        required=False, min_value=0, max_value=3660, help_text="Days to the ship date."
    )
    findings = serializers.BooleanField(
        default=False, help_text="Only with open findings."
    )
    mine = serializers.BooleanField(default=False, help_text="Only where you work.")
    waiting = serializers.BooleanField(
        default=False, help_text="Only where the next step is yours."
    )


class ReadingsQuery(PageQuery):
    """Which readings are listed."""

    check = serializers.CharField(
        required=False, max_length=120, help_text="One check by its key."
    )
    mark = serializers.CharField(
        required=False, max_length=40, help_text="All checks of one position."
    )
    since = AwareDateTimeField(
        required=False, help_text="Recorded at that time or later."
    )
    standing = serializers.BooleanField(
        default=False, help_text="Only what no later reading replaces."
    )


class ConcreteQuery(PageQuery):
    """Which entries of the concrete are listed."""

    kind = serializers.ChoiceField(choices=ConcreteEntry.Kind.choices, required=False)
    since = AwareDateTimeField(
        required=False, help_text="Recorded at that time or later."
    )
    standing = serializers.BooleanField(
        default=False, help_text="Only what no later entry replaces."
    )


class PhotographsQuery(PageQuery):
    """Which photographs are listed."""

    check = serializers.CharField(
        required=False, max_length=120, help_text="Of one check by its key."
    )
    mark = serializers.CharField(
        required=False, max_length=40, help_text="Of all checks of one position."
    )
    finding = serializers.IntegerField(
        required=False, help_text="Of one finding, and of work on it."
    )
    since = AwareDateTimeField(
        required=False, help_text="Recorded at that time or later."
    )


class FindingsQuery(PageQuery):
    """Which findings are listed."""

    job = serializers.IntegerField(required=False)
    building = serializers.IntegerField(required=False)
    state = serializers.ChoiceField(choices=Finding.State.choices, required=False)
    undecided = serializers.BooleanField(
        default=False, help_text="Only what waits for the engineer."
    )


class SheetQuery(StrictSerializer):
    """How the check sheet is shown."""

    expected = serializers.ChoiceField(
        choices=["shown", "hidden"],
        default="shown",
        help_text="hidden: nothing that tells the expected value of a check before "
        "it has a reading.",
    )
