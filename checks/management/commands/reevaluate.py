"""`manage.py reevaluate --by USER`: evaluate many buildings again, with progress."""

import sys
import time
from argparse import ArgumentParser
from typing import Any

from django.core.exceptions import PermissionDenied, ValidationError
from django.core.management.base import BaseCommand, CommandError

from checks.models import Reevaluation
from checks.queries.lookups import LookupFailedError, get_person_by_username
from checks.queries.reevaluation_progress import ReevaluationProgress, load_progress
from checks.services.reevaluation import (
    prepare_batches,
    reevaluate_buildings,
    resume_reevaluation,
    start_reevaluation,
)
from checks.tasks import queue_reevaluation
from core.models import Person

POLL_INTERVAL_S = 1.0
BAR_WIDTH = 30


class Command(BaseCommand):
    """Starts or resumes a run and shows its progress."""

    help = (
        "Evaluate the buildings that USER may see again, by the workers or --here."
        " Ctrl-C ends the display, not the run; --resume RUN shows it again and queues"
        " what is unfinished or failed. Exits 1 if a building failed."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--by",
            required=True,
            metavar="USER",
            help="user name of the responsible person",
        )
        parser.add_argument(
            "--reason",
            choices=Reevaluation.Reason.values,
            default=Reevaluation.Reason.PROGRAM.value,
            help="what changed (default: %(default)s, which leaves out the buildings"
            " that this version has evaluated)",
        )
        parser.add_argument("--note", default="")
        parser.add_argument("--resume", type=int, metavar="RUN")
        parser.add_argument(
            "--here", action="store_true", help="evaluate in this process"
        )
        parser.add_argument(
            "--no-wait", action="store_true", help="do not wait for the end"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Start or resume a run and show it until it ends."""
        try:
            run = self._open_run(get_person_by_username(options["by"]), options)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        except (LookupFailedError, PermissionDenied) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{run}: {run.get_reason_display()}, {run.made_with}.")
        if options["here"]:
            for batch in prepare_batches(run.pk):
                reevaluate_buildings(run.pk, batch)
                self._show(_load(run))
        else:
            queue_reevaluation.delay(run.pk)
        if not options["no_wait"]:
            self._wait(run)

    def _open_run(self, actor: Person, options: dict[str, Any]) -> Reevaluation:
        if options["resume"] is None:
            return start_reevaluation(
                actor=actor, reason=options["reason"], note=options["note"]
            )
        runs = Reevaluation.objects.visible_to(actor)
        run = runs.filter(pk=options["resume"]).first()
        if run is None:
            msg = f"There is no run {options['resume']} that {actor} may see."
            raise LookupFailedError(msg)
        resume_reevaluation(actor=actor, run=run)
        return run

    def _wait(self, run: Reevaluation) -> None:
        """Show the progress until no building waits."""
        try:
            while (progress := _load(run)).remaining:
                self._show(progress)
                time.sleep(POLL_INTERVAL_S)
        except KeyboardInterrupt:
            self.stdout.write(f"\nThe run goes on. See it again: --resume {run.pk}")
            return
        self._show(progress)
        self.stdout.write(
            f"{progress.changed} with a new result, {progress.unchanged} with the same"
            f" result, {progress.failed} failed."
        )
        if progress.failed:
            sys.exit(1)

    def _show(self, progress: ReevaluationProgress) -> None:
        """Draw the bar again in its line; one line for each where nobody looks."""
        filled = BAR_WIDTH * progress.finished // max(progress.total, 1)
        rate = progress.per_minute
        line = (
            f"[{'#' * filled}{'.' * (BAR_WIDTH - filled)}]"
            f" {progress.finished}/{progress.total} ({progress.percent} %)"
            + ("" if rate is None else f", {rate:.0f} a minute")
        )
        live = self.stdout.isatty() and progress.remaining
        self.stdout.write(f"\r{line}", ending="" if live else "\n")
        self.stdout.flush()


def _load(run: Reevaluation) -> ReevaluationProgress:
    (progress,) = load_progress(Reevaluation.objects.filter(pk=run.pk))
    return progress
