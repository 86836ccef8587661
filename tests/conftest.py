"""The database tests run on, the people in them, and whether there is a browser."""

import os
import shutil
from collections.abc import Sequence
from pathlib import Path

import pytest
from django.conf import settings

from core import embedded_postgres
from core.models import Person, Role
from jobs.models import Building, Job
from tests import example_buildings, factories


def chromium() -> str | None:
    """Find the system's Chromium; CHROMIUM names another one."""
    named = os.environ.get("CHROMIUM")
    candidates = [named] if named else ["chromium", "chromium-browser"]
    return next((path for name in candidates if (path := shutil.which(name))), None)


def pytest_collection_modifyitems(items: Sequence[pytest.Item]) -> None:
    """Skip what needs a browser where there is none."""
    if chromium():
        return
    skip = pytest.mark.skip(reason="no Chromium here: install it or set CHROMIUM")
    for item in items:
        if item.get_closest_marker("browser"):
            item.add_marker(skip)


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """Return the path of the browser."""
    path = chromium()
    assert path
    return path


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None,
) -> None:
    """Start the embedded server where no other was named."""
    if not os.environ.get("DATABASE_URL"):
        embedded_postgres.start_server(Path(settings.DATA_DIR))


@pytest.fixture
def operations(db: None) -> Person:
    return factories.person("olive", Role.OPERATIONS)


@pytest.fixture
def field_lead(db: None) -> Person:
    return factories.person("fern", Role.FIELD)


@pytest.fixture
def engineer(db: None) -> Person:
    return factories.person("emery", Role.ENGINEER)


@pytest.fixture
def administrator(db: None) -> Person:
    return factories.person("addie", Role.ADMINISTRATOR)


@pytest.fixture
def stranger(db: None) -> Person:
    """Someone with an account and a role, but on no job."""
    return factories.person("sorrel", Role.OPERATIONS)


@pytest.fixture
def job(operations: Person, field_lead: Person, engineer: Person) -> Job:
    """Return a job with one person of each role on it."""
    return factories.job(operations, field_lead=field_lead, engineer=engineer)


@pytest.fixture
def building(job: Job, operations: Person) -> Building:
    """Return that job's building, with nothing measured."""
    return factories.building(job, operations, example_buildings.shed())
