"""The people of the house."""

from typing import ClassVar

from django.contrib.auth.models import AbstractUser
from django.db import models


class Role(models.TextChoices):
    """What a person does; on an account the default, on a membership what holds."""

    OPERATIONS = "operations", "operations manager"
    FIELD = "field", "field lead"
    ENGINEER = "engineer", "engineer"
    ADMINISTRATOR = "administrator", "administrator"


class Person(AbstractUser):
    """An account. What a person sees and may do on a job hangs on the membership."""

    role = models.CharField(max_length=20, choices=Role, default=Role.FIELD)

    class Meta(AbstractUser.Meta):
        ordering: ClassVar = ["username"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(role__in=Role.values), name="core_person_role_known"
            ),
        ]

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    @property
    def is_administrator(self) -> bool:
        """Whether this person sees every job and manages accounts."""
        return self.role == Role.ADMINISTRATOR
