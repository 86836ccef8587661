"""The demo's jobs and buildings, from plans only to steel that stands.

Days are counted from this morning, negative ones ago, so that the question what can
ship this week always has an answer. All names are invented.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from django.db import transaction
from django.utils import timezone

from checks.demo import frozen_time, invitations
from checks.demo.accounts import ACCOUNTS, SIGN_INS, DemoSignIn
from checks.demo.catalogue import DemoBuilding, DemoJob
from checks.demo.order_book import JOBS
from checks.demo.simulation import BuildingSimulation, BuildingTeam
from core.models import Person, Role
from jobs.models import Building, Job
from jobs.services import add_building, create_job

Progress = Callable[[int, int, str], None]


class DatabaseNotEmptyError(RuntimeError):
    """The database holds something already; the demo is not mixed with a record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedDemo:
    """What was loaded, and who can sign in to look at it."""

    people: tuple[DemoSignIn, ...]
    jobs: int
    buildings: int


def load(progress: Progress | None = None) -> LoadedDemo:
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
        midnight = _local_midnight()
        with frozen_time.simulate_time(midnight - timedelta(days=120)):
            people = _create_accounts()
            for number, line in enumerate(JOBS):
                job = _open_job(line, people, midnight)
                for place, building in enumerate(line.buildings):
                    if progress is not None:
                        progress(done, total, building.document["name"])
                    seed = 100 * (number + 1) + place + building.seed
                    _simulate_building(job, line, building, people, midnight, seed)
                    done += 1
            invitations.invite_people(people, midnight)
            invitations.set_last_sign_ins(people, midnight)
    return LoadedDemo(people=SIGN_INS, jobs=len(JOBS), buildings=total)


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
        raise DatabaseNotEmptyError(msg)


def _local_midnight() -> datetime:
    today = timezone.localdate(frozen_time.read_true_time())
    return timezone.make_aware(datetime.combine(today, time(0)))


def _create_accounts() -> dict[str, Person]:
    return {
        username: Person.objects.create_user(
            username,
            f"{username}@padstone.example",
            password,
            first_name=first,
            last_name=last,
            role=Role(role),
            date_joined=frozen_time.read_time(),
        )
        for username, first, last, role, password in ACCOUNTS
    }


def _open_job(line: DemoJob, people: Mapping[str, Person], midnight: datetime) -> Job:
    frozen_time.set_time(midnight + timedelta(days=line.opened_day, hours=9))
    others = [
        (people[line.field_lead], Role.FIELD),
        (people[line.engineer], Role.ENGINEER),
    ]
    return create_job(
        actor=people["odalys"],
        number=line.number,
        name=line.name,
        customer=line.customer,
        site=line.site,
        ship_date=None
        if line.ship_day is None
        else (midnight + timedelta(days=line.ship_day)).date(),
        people=[(person, str(role)) for person, role in others],
    )


def _simulate_building(
    job: Job,
    line: DemoJob,
    building: DemoBuilding,
    people: Mapping[str, Person],
    midnight: datetime,
    seed: int,
) -> None:
    frozen_time.set_time(midnight + timedelta(days=line.opened_day + 1, hours=10))
    row = add_building(
        actor=people["odalys"],
        job=job,
        document=building.build_document(midnight),
        note="First issue.",
    )
    team = BuildingTeam(
        operations=people["odalys"],
        field=people[line.field_lead],
        engineer=people[line.engineer],
        crew=building.crew,
    )
    building.history(BuildingSimulation(row, team, seed, midnight))
