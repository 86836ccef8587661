"""People, jobs, buildings and releases by the names a command line gives them."""

from checks.models import Release
from core.models import Person
from jobs.models import Building, Job

MIN_DIGEST_LENGTH = 8  # characters of a digest that may stand for it


class LookupFailedError(LookupError):
    """Nothing has this name; says what to give instead."""


def get_person_by_username(username: str) -> Person:
    """Find somebody with an account that may be used."""
    person = Person.objects.filter(username=username).first()
    if person is None:
        msg = f"There is no account “{username}”: give a user name as it signs in."
        raise LookupFailedError(msg)
    if not person.is_active:
        msg = f"The account “{username}” is closed: nothing can be done in its name."
        raise LookupFailedError(msg)
    return person


def get_job_by_number(number: str) -> Job:
    """Find a job by its number."""
    job = Job.objects.filter(number=number).first()
    if job is None:
        msg = f"There is no job “{number}”: give its number as the list of jobs has it."
        raise LookupFailedError(msg)
    return job


def get_building_by_name(name: str) -> Building:
    """Find a building by the number in its address, or as JOB/NAME."""
    buildings = Building.objects.select_related("job")
    number, found_slash, called = name.partition("/")
    if found_slash:
        building = buildings.filter(job__number=number, name=called).first()
    elif name.isdecimal() and len(name) < 18:
        building = buildings.filter(pk=int(name)).first()
    else:
        building = None
    if building is None:
        msg = (
            f"There is no building “{name}”: give the number in its address"
            " (/buildings/12/), or its job's number and its name, 24-118/Grain store."
        )
        raise LookupFailedError(msg)
    return building


def get_release_by_digest(digest: str) -> Release | None:
    """Find the one release whose digest begins so; None for what is no digest."""
    begins = digest.lower()
    if len(begins) < MIN_DIGEST_LENGTH or set(begins) - set("0123456789abcdef"):
        return None
    found = Release.objects.filter(digest__startswith=begins)[:2]
    return found[0] if len(found) == 1 else None
