"""Models of the API: names of crew tokens."""

import uuid
from typing import ClassVar, Self

from django.db import models
from knox.models import AuthToken

from core.models import Person


class CrewTokenQuerySet(models.QuerySet["CrewToken"]):
    """Query helpers for CrewToken."""

    def owned_by(self, person: Person) -> Self:
        """Filter the tokens of one person."""
        return self.filter(token__user=person)


class CrewToken(models.Model):
    """The name of a token, so that the token of a lost phone can be revoked.

    The token itself is a hashed, expiring `AuthToken`; deleting it deletes its name.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    token = models.OneToOneField(AuthToken, models.CASCADE, related_name="crew")
    name = models.CharField(max_length=60, help_text="Whose phone, or which program.")

    last_used_at = models.DateTimeField(
        null=True, blank=True, help_text="To the minute; none before its first use."
    )

    objects = CrewTokenQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["token__created", "pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~models.Q(name=""), name="api_token_named"
            ),
        ]

    def __str__(self) -> str:
        return self.name
