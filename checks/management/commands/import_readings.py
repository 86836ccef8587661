"""`manage.py import_readings BUILDING FILE --by USER`: record readings of a file."""

import time
from argparse import ArgumentParser
from collections.abc import Iterable
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.core.management.base import BaseCommand, CommandError

from checks.engine.survey_control import AxisSense
from checks.forms.fields import parse_time_zone
from checks.management.command_files import EXIT_REFUSED, format_refusal, read_bytes
from checks.queries.lookups import (
    LookupFailedError,
    get_building_by_name,
    get_person_by_username,
)
from checks.queries.survey_import import SurveyImport, locate_by_check, read_survey_file
from checks.services.reading_files import parse_reading_file
from checks.services.readings import RecordedReadings, record_readings
from checks.services.surveys import record_survey
from core.models import Person
from jobs.exchange.issues import DocumentError, DocumentIssue
from jobs.exchange.plan_reader import file_suffix
from jobs.exchange.points.point_file import COLUMN_ORDERS, DELIMITERS, MM_PER_POINT_UNIT
from jobs.models import Building
from jobs.plans.plan_cache import load_plan


class Command(BaseCommand):
    """Records readings of a file, and reports the outcome."""

    help = (
        "Record the readings of a padstone.building/1 document, a JSON list of"
        " readings, or a table (.xlsx, .csv) with the columns check,value and as many"
        " of at,by,instrument,temperature,from,setup,… as it has. Numbers without a"
        " unit are in the plan's unit. Safe to run again. Exits 2 if anything is"
        " refused;"
        " then nothing is stored, unless --keep-good. With --points the file is a total"
        " station's: point, northing, easting, elevation, description."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "building", metavar="BUILDING", help="number in its address, or JOB/NAME"
        )
        parser.add_argument(
            "file", metavar="FILE", help="a path, or - for standard input"
        )
        parser.add_argument(
            "--by",
            required=True,
            metavar="USER",
            help="user name of the responsible person",
        )
        parser.add_argument("--keep-good", action="store_true")
        parser.add_argument(
            "--table", action="store_true", help="standard input (-) is CSV"
        )
        parser.add_argument(
            "--zone",
            default="",
            help="time zone of times without one, such as America/Chicago",
        )
        points = parser.add_argument_group(
            "options for a point file of a total station"
        )
        points.add_argument(
            "--points",
            choices=MM_PER_POINT_UNIT,
            metavar="UNIT",
            help="unit of the point file",
        )
        points.add_argument(
            "--order", choices=COLUMN_ORDERS, default="", metavar="COLUMNS"
        )
        points.add_argument("--separated-by", choices=DELIMITERS, default="")
        points.add_argument(
            "--control", choices=("corners", "rods", "both"), default="corners"
        )
        points.add_argument(
            "--leave",
            action="append",
            default=[],
            metavar="POINT",
            help="point not to use as control",
        )
        points.add_argument("--instrument", default="", help="the total station")

    def handle(self, *args: Any, file: str, **options: Any) -> None:
        """Read, record and report."""
        self.began = time.monotonic()
        content = read_bytes(file)
        try:
            actor = get_person_by_username(options["by"])
            building = get_building_by_name(options["building"])
            if options["points"]:
                recorded, refused = self._record_points(
                    actor, building, content, options
                )
            else:
                suffix = ".csv" if options["table"] else file_suffix(file)
                recorded, refused = self._record(
                    actor, building, content, suffix, options
                )
        except DocumentError as error:
            msg = "\n".join(f"{file} {format_refusal(each)}" for each in error.issues)
            raise CommandError(msg, returncode=EXIT_REFUSED) from error
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        except (LookupFailedError, PermissionDenied) as error:
            raise CommandError(str(error)) from error
        self._report_outcome(building, recorded)
        if refused:
            lines = [f"{file} {format_refusal(each)}" for each in refused]
            raise CommandError("\n".join(lines), returncode=EXIT_REFUSED)

    def _record(
        self,
        actor: Person,
        building: Building,
        content: bytes,
        suffix: str,
        options: dict[str, Any],
    ) -> tuple[RecordedReadings, list[DocumentIssue]]:
        """Record a file of readings; issues carry their location in the file."""
        unit = load_plan(building.current_revision()).length_unit
        zone = parse_time_zone(options["zone"])
        upload = parse_reading_file(content, suffix=suffix, unit=unit, zone=zone)
        for each in upload.ignored:
            self._report_progress(format_refusal(each))
        self._report_progress(f"{len(upload.entries)} readings; recording…")
        recorded = record_readings(
            actor=actor,
            building=building,
            entries=upload.entries,
            keep_good=options["keep_good"],
        )
        return recorded, upload.locate_refusals(recorded.refused)

    def _record_points(
        self,
        actor: Person,
        building: Building,
        content: bytes,
        options: dict[str, Any],
    ) -> tuple[RecordedReadings, list[DocumentIssue]]:
        """Record a point file; issues carry their check."""
        tool = options["instrument"]
        shot = read_survey_file(
            building,
            content,
            unit=options["points"],
            order=options["order"],
            delimiter=options["separated_by"],
            control=options["control"],
            excluded=set(options["leave"]),
            shared={"instrument": tool} if tool else {},
        )
        for each in shot.file.ignored:
            self._report_progress(format_refusal(each))
        for match in shot.matches:
            if match.target is None:
                self._report_progress(f"point {match.point.name}: {match.reason}")
        for row in shot.surveyed.control:
            off = (
                f"{row.residual:.1f} mm from its place"
                if row.residual >= 0
                else "no fit"
            )
            self._report_progress(f"{row.target}, point {row.names}: {off}")
        _require_reliable(shot, options["leave"])
        if shot.surveyed.fit and shot.surveyed.fit.sense is AxisSense.UNDETERMINED:
            self._report_progress(
                "control in one line: northing and easting may be exchanged"
            )
        entries = shot.surveyed.entries
        self._report_progress(f"{len(entries)} readings; recording…")
        recorded = record_survey(actor=actor, building=building, shot=shot)
        return recorded, locate_by_check(shot, recorded.refused)

    def _report_progress(self, words: str) -> None:
        """Report progress on standard error, which is not piped."""
        self.stderr.write(
            f"{time.monotonic() - self.began:5.1f} s  {words}", self.style.SUCCESS
        )

    def _report_outcome(self, building: Building, recorded: RecordedReadings) -> None:
        self.stdout.write(
            f"{len(recorded.stored)} recorded, {len(recorded.repeated)} already there,"
            f" {len(recorded.refused)} refused"
        )
        if recorded.stored:
            due = building.evaluation_due_since
            self._report_progress("not evaluated yet" if due else "evaluated")
            self.stdout.write(
                f"{building}: {building.settled_checks} of {building.required_checks}"
                f" checks settled, {building.open_findings} findings open,"
                f" {building.undecided_findings} wait for a decision"
            )


def _require_reliable(shot: SurveyImport, leave: Iterable[str]) -> None:
    """Refuse an unreliable survey, and an unknown point in --leave."""
    names = {point.name for point in shot.file.points}
    unknown = [
        DocumentIssue("--leave", f"There is no point {n}.")
        for n in leave
        if n not in names
    ]
    if unknown:
        raise DocumentError(unknown)
    if shot.surveyed.problem:
        raise DocumentError([DocumentIssue("", shot.surveyed.problem)])
