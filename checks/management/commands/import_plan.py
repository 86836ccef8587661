"""`manage.py import_plan JOB FILE --by USER`: a building from an exchange document."""

from argparse import ArgumentParser
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.core.management.base import BaseCommand, CommandError

from checks.management.files import REFUSED, read_bytes, told
from checks.queries.named import NotNamedError, job_named, person_named
from jobs import services
from jobs.exchange.parse import DocumentError
from jobs.exchange.reader import Refusals, load_json
from jobs.models import Building, Job


class Command(BaseCommand):
    """Add a building to a job, or issue another revision of its plan."""

    help = (
        "Read a padstone.building/1 document (- for standard input) and add its"
        " building to a job. Exits 2 when it is refused, with every error and its JSON"
        " Pointer. Readings in it are not recorded: use import_readings."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("job", metavar="JOB", help="the job's number")
        parser.add_argument("file", metavar="FILE", help="a path, or - for input")
        parser.add_argument("--by", required=True, metavar="USER", help="who answers")
        parser.add_argument("--note", default="", help="what this issue of the plan is")
        parser.add_argument(
            "--revise",
            action="store_true",
            help="issue a revision of the building of that name instead",
        )

    def handle(self, *args: Any, job: str, file: str, by: str, **options: Any) -> None:
        """Read, check, store."""
        content = read_bytes(file)
        try:
            actor, found = person_named(by), job_named(job)
            refusals = Refusals()
            document = load_json(content, refusals)
            refusals.settle()
            given = {"actor": actor, "document": document, "note": options["note"]}
            if options["revise"]:
                building = _named(found, document)
                revision = services.revise_plan(building=building, **given)
            else:
                building = services.add_building(job=found, **given)
                revision = building.current_revision()
        except DocumentError as error:
            msg = "\n".join(f"{file} {told(each)}" for each in error.errors)
            raise CommandError(msg, returncode=REFUSED) from error
        except ValidationError as error:
            raise CommandError(" ".join(error.messages), returncode=REFUSED) from error
        except (NotNamedError, PermissionDenied) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"{building}: building {building.pk}, plan revision {revision.number},"
            f" {building.required_checks} checks to measure"
        )
        left = len(document.get("readings") or ())
        if left:
            self.stdout.write(f"{left} readings in the document were not recorded.")


def _named(job: Job, document: Any) -> Building:
    name = document.get("name") if isinstance(document, dict) else None
    building = job.buildings.filter(name=name).first()
    if building is None:
        msg = f"Job {job.number} has no building “{name}” yet: leave --revise out."
        raise NotNamedError(msg)
    return building
