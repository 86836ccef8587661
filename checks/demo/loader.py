"""Loading of the demo: its people, its jobs and the history of every building.

Days are counted from today, so that something can always ship this week.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from django.db import transaction
from django.utils import timezone

from checks.demo import frozen_time, invitations
from checks.demo.accounts import ACCOUNTS, SIGN_INS, DemoSignIn
from checks.demo.catalogue import JOBS, DemoBuilding, DemoJob
from checks.demo.simulation import BuildingSimulation, BuildingTeam
from core.models import Person, Role
from jobs.models import Building, Job
from jobs.services import add_building, create_job

Progress = Callable[[int, int, str], None]


class DatabaseNotEmptyError(RuntimeError):
    """The database is not empty: the demo is never mixed with a record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedDemo:
    """The accounts of the demo, and the number of its jobs and buildings."""

    people: tuple[DemoSignIn, ...]
    jobs: int
    buildings: int


def load(progress: Progress | None = None) -> LoadedDemo:
    """Load the whole demo, or nothing.

    Parameters
    ----------
    progress : called with the number of loaded buildings, their total, and the name of
        the next one.

    Raises
    ------
    DatabaseNotEmptyError
        If there is a person, a job or a building in the database.
    """
    total = sum(len(job.buildings) for job in JOBS)
    done = 0
    with transaction.atomic():
        _require_empty()
        midnight = _local_midnight()
        with frozen_time.simulate_time(midnight - timedelta(days=120)):
            people = _create_accounts()
            for number, demo_job in enumerate(JOBS):
                job = _open_job(demo_job, people, midnight)
                for index, building in enumerate(demo_job.buildings):
                    if progress is not None:
                        progress(done, total, building.document["name"])
                    # The same seed every time: the demo looks the same on every day.
                    seed = 100 * (number + 1) + index
                    _simulate_building(job, demo_job, building, people, midnight, seed)
                    done += 1
            invitations.invite_people(people, midnight)
            invitations.set_last_sign_ins(people, midnight)
    return LoadedDemo(people=SIGN_INS, jobs=len(JOBS), buildings=total)


def _require_empty() -> None:
    present = [
        name
        for name, model in (("people", Person), ("jobs", Job), ("buildings", Building))
        if model.objects.exists()
    ]
    if present:
        msg = (
            f"The database already contains {' and '.join(present)}. The demo is "
            "loaded into an empty database only, so that no invented data enter a "
            "record. Use another database."
        )
        raise DatabaseNotEmptyError(msg)


def _local_midnight() -> datetime:
    today = timezone.localdate(frozen_time.read_true_time())
    return timezone.make_aware(datetime.combine(today, time(0)))


def _create_accounts() -> dict[str, Person]:
    return {
        account.username: Person.objects.create_user(
            account.username,
            f"{account.username}@padstone.example",
            account.password,
            first_name=account.first_name,
            last_name=account.last_name,
            role=Role(account.role),
            date_joined=frozen_time.read_time(),
        )
        for account in ACCOUNTS
    }


def _open_job(
    demo_job: DemoJob, people: Mapping[str, Person], midnight: datetime
) -> Job:
    frozen_time.set_time(midnight + timedelta(days=demo_job.opened_day, hours=9))
    others = [
        (people[demo_job.field_lead], Role.FIELD),
        (people[demo_job.engineer], Role.ENGINEER),
    ]
    return create_job(
        actor=people["odalys"],
        number=demo_job.number,
        name=demo_job.name,
        customer=demo_job.customer,
        site=demo_job.site,
        ship_date=None
        if demo_job.ship_day is None
        else (midnight + timedelta(days=demo_job.ship_day)).date(),
        people=[(person, str(role)) for person, role in others],
    )


def _simulate_building(
    job: Job,
    demo_job: DemoJob,
    building: DemoBuilding,
    people: Mapping[str, Person],
    midnight: datetime,
    seed: int,
) -> None:
    frozen_time.set_time(midnight + timedelta(days=demo_job.opened_day + 1, hours=10))
    stored = add_building(
        actor=people["odalys"],
        job=job,
        document=building.build_document(midnight),
        note="First issue.",
    )
    team = BuildingTeam(
        operations=people["odalys"],
        field=people[demo_job.field_lead],
        engineer=people[demo_job.engineer],
        crew=building.crew,
    )
    building.history(BuildingSimulation(stored, team, seed, midnight))
