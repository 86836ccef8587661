"""`manage.py import_plan JOB FILE --by USER`: add a building from a plan file."""

import time
from argparse import ArgumentParser
from pathlib import PurePath
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.utils.timezone import now

from checks.evaluation.plan_review import review_plan
from checks.management.command_files import EXIT_REFUSED, format_refusal, read_bytes
from checks.queries.lookups import (
    LookupFailedError,
    get_job_by_number,
    get_person_by_username,
)
from jobs import services
from jobs.exchange.dxf.plan_import import ROD_GROUP_DISTANCE_MM, DrawingOptions
from jobs.exchange.input.json_text import load_json
from jobs.exchange.issues import DocumentError, IssueCollector
from jobs.exchange.plan_reader import MAX_FILE_BYTES, file_suffix, read_plan_file
from jobs.exchange.vocabulary import LENGTH_UNITS
from jobs.models import Building, Job


class Command(BaseCommand):
    """Adds a building to a job, or issues a revision of its plan."""

    help = (
        "Read a plan and add its building to a job. The file is a padstone.building/1"
        " document (- for standard input), a workbook (.xlsx), CSV or a drawing (.dxf)."
        " Exits 2 if it is refused, with every issue and its location. With --revise,"
        " what a workbook, CSV or drawing does not show stays as it is. Readings in it"
        " are not recorded: use import_readings."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("job", metavar="JOB", help="the job's number")
        parser.add_argument(
            "file", metavar="FILE", help="a path, or - for standard input"
        )
        parser.add_argument(
            "--by",
            required=True,
            metavar="USER",
            help="user name of the responsible person",
        )
        parser.add_argument(
            "--note", default="", help="description of this issue of the plan"
        )
        parser.add_argument(
            "--revise",
            action="store_true",
            help="issue a revision of the building with that name",
        )
        parser.add_argument(
            "--building",
            metavar="NAME",
            help="building to revise, if the file names none",
        )
        drawing = parser.add_argument_group("options for a drawing")
        drawing.add_argument("--name", default="", help="name of the building")
        drawing.add_argument("--unit", choices=LENGTH_UNITS, help="unit of the drawing")
        drawing.add_argument("--outline", default="", metavar="LAYER")
        drawing.add_argument("--rods", default="", metavar="LAYER")
        drawing.add_argument("--marks", default="", metavar="LAYER")
        drawing.add_argument(
            "--near",
            type=float,
            default=ROD_GROUP_DISTANCE_MM,
            metavar="MM",
            help="largest spread of one rod group",
        )

    def handle(self, *args: Any, job: str, file: str, by: str, **options: Any) -> None:
        """Read, check and store."""
        self.began = time.monotonic()
        try:
            actor, found = get_person_by_username(by), get_job_by_number(job)
            document, old = self._read(file, found, options)
            given = {"actor": actor, "document": document, "note": options["note"]}
            if options["revise"]:
                building = old or _get_building(found, _get_member(document, "name"))
                revision = services.revise_plan(building=building, **given)
            else:
                building = services.add_building(job=found, **given)
                revision = building.current_revision()
        except DocumentError as error:
            msg = "\n".join(f"{file} {format_refusal(each)}" for each in error.issues)
            raise CommandError(msg, returncode=EXIT_REFUSED) from error
        except ValidationError as error:
            raise CommandError(
                " ".join(error.messages), returncode=EXIT_REFUSED
            ) from error
        except (LookupFailedError, PermissionDenied) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"{building}: building {building.pk}, plan revision {revision.number},"
            f" {building.required_checks} checks to measure"
        )
        left = len(_get_member(document, "readings") or ())
        if left:
            self.stdout.write(f"{left} readings in the document were not recorded.")

    def _read(
        self, file: str, job: Job, options: dict[str, Any]
    ) -> tuple[Any, Building | None]:
        """Read a file as a document, with the building named for revision."""
        content = read_bytes(file)
        suffix = file_suffix(file)
        old = _get_building(job, options["building"]) if options["building"] else None
        if suffix not in MAX_FILE_BYTES:
            refusals = IssueCollector()
            document = load_json(content, refusals)
            refusals.raise_if_any()
            return document, old
        self._report_progress(f"{len(content) / 1e6:.1f} MB; reading…")
        choices = DrawingOptions(
            name=options["name"] or ("" if old else PurePath(file).stem),
            unit=options["unit"],
            outline=options["outline"],
            rods=options["rods"],
            marks=options["marks"],
            group_distance_mm=options["near"],
        )
        found, _ = read_plan_file(content, suffix, options=choices)
        if options["revise"]:
            old = old or _get_building(job, found.document.get("name"))
            base = old.current_revision().document
            found, _ = read_plan_file(content, suffix, options=choices, base=base)
        for each in (*found.ignored, *found.assumptions):
            self._report_progress(format_refusal(each))
        building = found.parse_building(now=now())
        for warning in review_plan(building.plan):
            self._report_progress(f"Check the plan: {warning.message}")
        self._report_progress(f"{len(found.document['positions'])} positions; storing…")
        return found.document, old

    def _report_progress(self, words: str) -> None:
        """Report progress on standard error, which is not piped."""
        self.stderr.write(
            f"{time.monotonic() - self.began:5.1f} s  {words}", self.style.SUCCESS
        )


def _get_member(document: Any, name: str) -> Any:
    return document.get(name) if isinstance(document, dict) else None


def _get_building(job: Job, name: Any) -> Building:
    building = job.buildings.filter(name=name).first()
    if building is None:
        msg = f"Job {job.number} has no building “{name}” yet. Leave --revise out."
        raise LookupFailedError(msg)
    return building
