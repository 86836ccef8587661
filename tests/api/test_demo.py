"""The demo's crew token."""

import pytest

from api import demo
from api.models import CrewToken
from core.models import Person, Role
from tests import factories

pytestmark = pytest.mark.django_db


def test_the_demos_field_lead_has_a_named_token() -> None:
    lead = factories.person(demo.FIELD_LEAD_USERNAME, Role.FIELD)
    demo.load()
    token = CrewToken.objects.owned_by(lead).get()
    assert token.name == "Crew 2, yellow phone"


def test_a_demo_without_that_person_has_none() -> None:
    demo.load()
    assert not Person.objects.exists()
    assert not CrewToken.objects.exists()
