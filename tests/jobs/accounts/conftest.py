"""One more administrator, for what takes two."""

import pytest

from core.models import Person, Role
from tests import factories


@pytest.fixture
def other(db: None) -> Person:
    return factories.person("alder", Role.ADMINISTRATOR)
