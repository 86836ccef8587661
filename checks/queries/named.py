"""People, jobs, buildings and releases by the names a command line gives them."""

from checks.models import Release
from core.models import Person
from jobs.models import Building, Job

SHORTEST_DIGEST = 8  # characters of a digest that may stand for it


class NotNamedError(LookupError):
    """Nothing has this name; says what to give instead."""


def person_named(username: str) -> Person:
    """Find somebody with an account that may be used."""
    person = Person.objects.filter(username=username).first()
    if person is None:
        msg = f"There is no account “{username}”: give a user name as it signs in."
        raise NotNamedError(msg)
    if not person.is_active:
        msg = f"The account “{username}” is closed: nothing can be done in its name."
        raise NotNamedError(msg)
    return person


def job_named(number: str) -> Job:
    """Find a job by its number."""
    job = Job.objects.filter(number=number).first()
    if job is None:
        msg = f"There is no job “{number}”: give its number as the list of jobs has it."
        raise NotNamedError(msg)
    return job


def building_named(name: str) -> Building:
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
        raise NotNamedError(msg)
    return building


def release_named(digest: str) -> Release | None:
    """Find the one release whose digest begins so; None for what is no digest."""
    begins = digest.lower()
    if len(begins) < SHORTEST_DIGEST or set(begins) - set("0123456789abcdef"):
        return None
    found = Release.objects.filter(digest__startswith=begins)[:2]
    return found[0] if len(found) == 1 else None
