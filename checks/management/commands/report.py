"""`manage.py report BUILDING|DIGEST -o FILE`: a report as PDF."""

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.timezone import now

from checks.queries.lookups import (
    LookupFailedError,
    get_building_by_name,
    get_release_by_digest,
)
from checks.reports.release_report import render_release_pdf
from checks.reports.sheet_report import render_sheet_pdf
from checks.reports.shim_report import render_shim_pdf
from checks.reports.status_report import render_status_pdf


class Command(BaseCommand):
    """Writes a release from its frozen record, or a building as it stands."""

    help = (
        "Write a PDF: the release with a DIGEST (or its first 8 characters), or the"
        " status, check sheet or shim plan of a BUILDING (number in its address, or"
        " JOB/NAME)."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", metavar="BUILDING|DIGEST")
        parser.add_argument(
            "-o",
            "--output",
            required=True,
            metavar="FILE",
            help="a path, or - for standard output",
        )
        parser.add_argument(
            "--kind",
            choices=["status", "sheet", "shims"],
            default="status",
            help="report of a building (default: %(default)s)",
        )
        parser.add_argument(
            "--expected",
            action="store_true",
            help="print the plan's values on the sheet",
        )
        parser.add_argument(
            "--site",
            default="",
            metavar="URL",
            help="address of this site, for the link that verifies a release",
        )

    def handle(self, *args: Any, what: str, output: str, **options: Any) -> None:
        """Render the PDF and write it."""
        release = get_release_by_digest(what)
        try:
            if release is not None:
                pdf = render_release_pdf(release.record, options["site"])
            else:
                pdf = _render_building(what, options)
        except LookupFailedError as missing:
            msg = (
                f"{missing} No single release has a digest with this beginning either."
            )
            raise CommandError(msg) from missing
        if output == "-":
            sys.stdout.buffer.write(pdf)
            return
        try:
            Path(output).write_bytes(pdf)
        except OSError as fault:
            msg = f"{output} cannot be written: {fault.strerror or fault}."
            raise CommandError(msg) from fault
        self.stdout.write(f"{output}: {len(pdf) / 1000:.0f} kB")


def _render_building(what: str, options: dict[str, Any]) -> bytes:
    building, at = get_building_by_name(what), now()
    if options["kind"] == "sheet":
        return render_sheet_pdf(building, at, expected=options["expected"])
    if options["kind"] == "shims":
        return render_shim_pdf(building, at)
    return render_status_pdf(building, at)
