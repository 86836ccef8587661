"""Responses: people and their tokens."""

from typing import Any, ClassVar

from rest_framework import serializers

from api.models import CrewToken
from core.models import Person, Role
from jobs.models import Membership


class PersonOut(serializers.ModelSerializer[Person]):
    """A person."""

    name = serializers.CharField(source="__str__")

    class Meta:
        model = Person
        fields: ClassVar = ["username", "name"]


class TokenOut(serializers.ModelSerializer[CrewToken]):
    """A token by its name; its text is never shown again."""

    created = serializers.DateTimeField(source="token.created")
    expires = serializers.DateTimeField(source="token.expiry", allow_null=True)
    last_used = serializers.DateTimeField(source="last_used_at", allow_null=True)

    class Meta:
        model = CrewToken
        fields: ClassVar = ["id", "name", "created", "expires", "last_used"]


class NewTokenOut(TokenOut):
    """A new token, with its text this once."""

    token = serializers.SerializerMethodField()

    class Meta(TokenOut.Meta):
        fields: ClassVar = [*TokenOut.Meta.fields, "token"]

    def get_token(self, made: CrewToken) -> str:
        """Return the text of the token."""
        return str(self.context["token"])


class MembershipOut(serializers.ModelSerializer[Membership]):
    """A role on a job."""

    job = serializers.IntegerField(source="job_id")
    number = serializers.CharField(source="job.number")

    class Meta:
        model = Membership
        fields: ClassVar = ["job", "number", "role"]


class MeOut(serializers.Serializer[Any]):
    """The signed-in person, with the token in use."""

    username = serializers.CharField()
    name = serializers.CharField()
    email = serializers.CharField()
    role = serializers.ChoiceField(choices=Role.choices)
    parts = MembershipOut(many=True)
    token = TokenOut(allow_null=True)
