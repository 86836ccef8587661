import pytest

from core.models import Person
from jobs.models import Building, Job
from tests import example_buildings, factories


@pytest.fixture
def building(job: Job, operations: Person) -> Building:
    """Return the job's building, with nothing measured."""
    return factories.building(job, operations, example_buildings.shed())
