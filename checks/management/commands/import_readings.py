"""`manage.py import_readings BUILDING FILE --by USER`: readings from a file."""

import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.exceptions import PermissionDenied
from django.core.management.base import BaseCommand, CommandError

from checks.management.files import REFUSED, read_bytes, told
from checks.queries.named import NotNamedError, building_named, person_named
from checks.services.readings import Recorded, record_readings
from checks.services.uploads import TABLES, Upload, read_upload
from jobs.exchange.parse import DocumentError
from jobs.models import Building
from jobs.plans import plan_of


class Command(BaseCommand):
    """Record readings through the one door, and say what became of each."""

    help = (
        "Record the readings of a padstone.building/1 document, a JSON list of"
        " readings, or a table (.csv) with the columns check,value and as many of"
        " at,by,instrument,temperature,from,setup,… as it has. A number alone in a"
        " table is in the plan's unit. Safe to run again. Exits 2 when anything was"
        " refused; then nothing was stored, unless --keep-good."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "building", metavar="BUILDING", help="the number in its address or JOB/NAME"
        )
        parser.add_argument("file", metavar="FILE", help="a path, or - for input")
        parser.add_argument("--by", required=True, metavar="USER", help="who answers")
        parser.add_argument("--keep-good", action="store_true")
        parser.add_argument("--table", action="store_true", help="input (-) is CSV")

    def handle(self, *args: Any, file: str, **options: Any) -> None:
        """Read, record, and tell."""
        self.began = time.monotonic()
        content = read_bytes(file)
        table = options["table"] or Path(file).suffix.lower() in TABLES
        try:
            actor = person_named(options["by"])
            building = building_named(options["building"])
            unit = plan_of(building.current_revision()).length_unit
            upload = read_upload(content, table=table, unit=unit)
            self._say(f"{len(upload.entries)} readings in {file}; recording…")
            recorded = record_readings(
                actor=actor,
                building=building,
                entries=upload.entries,
                keep_good=options["keep_good"],
            )
        except DocumentError as error:
            msg = "\n".join(f"{file} {told(each)}" for each in error.errors)
            raise CommandError(msg, returncode=REFUSED) from error
        except (NotNamedError, PermissionDenied) as error:
            raise CommandError(str(error)) from error
        self._tell(building, recorded)
        _refuse(file, upload, recorded)

    def _say(self, words: str) -> None:
        """Show progress where people look for it, not where output is piped."""
        self.stderr.write(
            f"{time.monotonic() - self.began:5.1f} s  {words}", self.style.SUCCESS
        )

    def _tell(self, building: Building, recorded: Recorded) -> None:
        self.stdout.write(
            f"{len(recorded.stored)} recorded, {len(recorded.repeated)} already there,"
            f" {len(recorded.refused)} faults"
        )
        if recorded.stored:
            due = building.evaluation_due_since
            self._say("not evaluated yet" if due else "evaluated")
            self.stdout.write(
                f"{building}: {building.settled_checks} of {building.required_checks}"
                f" checks settled, {building.open_findings} findings open,"
                f" {building.undecided_findings} wait for a decision"
            )


def _refuse(file: str, upload: Upload, recorded: Recorded) -> None:
    if recorded.refused:
        lines = [
            f"{file} {told(each, upload.place(each.pointer))}"
            for each in recorded.refused
        ]
        raise CommandError("\n".join(lines), returncode=REFUSED)
