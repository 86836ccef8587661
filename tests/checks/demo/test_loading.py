"""Loading the demo: all of it or nothing."""

from dataclasses import replace

import pytest

from checks.demo import catalogue, load, loader
from checks.demo.simulation import BuildingSimulation
from core.models import Person, Role
from jobs.models import Job
from tests import factories


def _breaks(story: BuildingSimulation) -> None:
    msg = "the demo is at fault"
    raise RuntimeError(msg)


@pytest.mark.django_db
def test_a_load_that_fails_leaves_nothing(monkeypatch: pytest.MonkeyPatch):
    small = catalogue.JOBS[5]
    broken = replace(
        small,
        number="P-9999",
        buildings=(replace(small.buildings[0], history=_breaks),),
    )
    monkeypatch.setattr(loader, "JOBS", (small, broken))
    with pytest.raises(RuntimeError, match="at fault"):
        load()
    assert not Person.objects.exists()
    assert not Job.objects.exists()


@pytest.mark.django_db
def test_progress_is_reported_for_every_building(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(loader, "JOBS", (catalogue.JOBS[5],))
    told: list[tuple[int, int, str]] = []
    loaded = load(lambda *step: told.append(step))
    assert told == [(0, 1, "Kiln shed")]
    assert (loaded.jobs, loaded.buildings) == (1, 1)


@pytest.mark.django_db
def test_a_database_that_is_not_empty_is_refused():
    factories.person("somebody", Role.FIELD)
    with pytest.raises(loader.DatabaseNotEmptyError, match="already contains people"):
        load()
    assert Person.objects.count() == 1
