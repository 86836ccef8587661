"""Look-ups by the names that people type on the command line."""

from checks.models import Release
from core.models import Person
from jobs.models import Building, Job

MIN_DIGEST_LENGTH = 8  # shortest beginning of a digest that is accepted


class LookupFailedError(LookupError):
    """No object has this name; the message says what to type instead."""


def get_person_by_username(username: str) -> Person:
    """Return the active person with a user name.

    Raises
    ------
    LookupFailedError
        If there is none, or the account is closed.
    """
    person = Person.objects.filter(username=username).first()
    if person is None:
        msg = f"There is no account “{username}”. Type the user name used to sign in."
        raise LookupFailedError(msg)
    if not person.is_active:
        msg = f"The account “{username}” is closed. Type the name of an active account."
        raise LookupFailedError(msg)
    return person


def get_job_by_number(number: str) -> Job:
    """Return the job with a number."""
    job = Job.objects.filter(number=number).first()
    if job is None:
        msg = f"There is no job “{number}”. Type its number as in the list of jobs."
        raise LookupFailedError(msg)
    return job


def get_building_by_name(name: str) -> Building:
    """Return the building with the number of its address, or with JOB/NAME."""
    buildings = Building.objects.select_related("job")
    number, slash, building_name = name.partition("/")
    if slash:
        building = buildings.filter(job__number=number, name=building_name).first()
    elif name.isdecimal() and len(name) < 18:  # more digits do not fit into bigint
        building = buildings.filter(pk=int(name)).first()
    else:
        building = None
    if building is None:
        msg = (
            f"There is no building “{name}”. Type the number in its address"
            " (12 for /buildings/12/), or job number and name: 24-118/Grain store."
        )
        raise LookupFailedError(msg)
    return building


def get_release_by_digest(digest: str) -> Release | None:
    """Return the one release whose digest begins with this text, else None."""
    start = digest.lower()
    if len(start) < MIN_DIGEST_LENGTH or set(start) - set("0123456789abcdef"):
        return None
    found = Release.objects.filter(digest__startswith=start)[:2]
    return found[0] if len(found) == 1 else None
