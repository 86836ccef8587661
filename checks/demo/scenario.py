"""The demo's jobs and buildings, from plans only to steel that stands.

Days are counted from this morning, negative ones ago, so that the question what can
ship this week always has an answer. All names are invented.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from django.db import transaction
from django.utils import timezone

from checks.demo import clock, office
from checks.demo.cast import JOBS
from checks.demo.lines import BuildingLine, JobLine
from checks.demo.people import PEOPLE, SIGN_INS, SignIn
from checks.demo.story import Story, Team
from core.models import Person, Role
from jobs.models import Building, Job
from jobs.services import add_building, open_job

Progress = Callable[[int, int, str], None]


class NotEmptyError(RuntimeError):
    """The database holds something already; the demo is not mixed with a record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """What was loaded, and who can sign in to look at it."""

    people: tuple[SignIn, ...]
    jobs: int
    buildings: int


def load(progress: Progress | None = None) -> Loaded:
    """Load the whole demo, or nothing.

    Parameters
    ----------
    progress : called with how many buildings are done, of how many, and a name.

    Raises
    ------
    NotEmptyError
        If there is a person, a job or a building in the database.
    """
    total = sum(len(job.buildings) for job in JOBS)
    done = 0
    with transaction.atomic():
        _require_empty()
        midnight = _midnight()
        with clock.telling(midnight - timedelta(days=120)):
            people = _people()
            for number, line in enumerate(JOBS):
                job = _job(line, people, midnight)
                for place, building in enumerate(line.buildings):
                    if progress is not None:
                        progress(done, total, building.document["name"])
                    seed = 100 * (number + 1) + place + building.seed
                    _tell(job, line, building, people, midnight, seed)
                    done += 1
            office.invite_people(people, midnight)
            office.sign_in_times(people, midnight)
    return Loaded(people=SIGN_INS, jobs=len(JOBS), buildings=total)


def _require_empty() -> None:
    held = [
        name
        for name, model in (("people", Person), ("jobs", Job), ("buildings", Building))
        if model.objects.exists()
    ]
    if held:
        msg = (
            f"The database holds {' and '.join(held)} already. The demo is only loaded "
            "into an empty one, so that nothing invented gets into a record: use "
            "another database."
        )
        raise NotEmptyError(msg)


def _midnight() -> datetime:
    today = timezone.localdate(clock.true_now())
    return timezone.make_aware(datetime.combine(today, time(0)))


def _people() -> dict[str, Person]:
    return {
        username: Person.objects.create_user(
            username,
            f"{username}@padstone.example",
            password,
            first_name=first,
            last_name=last,
            role=Role(role),
            date_joined=clock.now(),
        )
        for username, first, last, role, password in PEOPLE
    }


def _job(line: JobLine, people: Mapping[str, Person], midnight: datetime) -> Job:
    clock.tell(midnight + timedelta(days=line.opened, hours=9))
    others = [(people[line.field], Role.FIELD), (people[line.engineer], Role.ENGINEER)]
    return open_job(
        actor=people["odalys"],
        number=line.number,
        name=line.name,
        customer=line.customer,
        site=line.site,
        ship_date=None
        if line.ships is None
        else (midnight + timedelta(days=line.ships)).date(),
        people=[(person, str(role)) for person, role in others],
    )


def _tell(
    job: Job,
    line: JobLine,
    building: BuildingLine,
    people: Mapping[str, Person],
    midnight: datetime,
    seed: int,
) -> None:
    clock.tell(midnight + timedelta(days=line.opened + 1, hours=10))
    row = add_building(
        actor=people["odalys"],
        job=job,
        document=building.document_for(midnight),
        note="First issue.",
    )
    team = Team(
        operations=people["odalys"],
        field=people[line.field],
        engineer=people[line.engineer],
        crew=building.crew,
    )
    building.happens(Story(row, team, seed, midnight))
