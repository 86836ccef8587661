"""`manage.py evaluate FILE`: an exchange document in, its result document out."""

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from checks.evaluation.evaluate import evaluate
from jobs.exchange.parse import read_text
from jobs.exchange.reader import DocumentError, Refusal

REFUSED = 2


class Command(BaseCommand):
    """Evaluate one building; needs no database."""

    help = (
        "Evaluate a padstone.building/1 document (- for standard input) and write the"
        " padstone.result/1 document to standard output. Exits 2 when it is refused,"
        " with every error on standard error as JSON."
    )
    requires_system_checks: list[str] = []  # noqa: RUF012 Django's own declaration
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE", help="a path, or - for input")

    def handle(self, *args: Any, file: str, **options: Any) -> None:
        """Read, evaluate, write; or refuse."""
        try:
            building = read_text(_bytes_of(file))
        except DocumentError as refused:
            errors = [
                {"pointer": error.pointer, "message": error.message}
                for error in refused.errors
            ]
            self.stderr.style_func = None
            self.stderr.write(json.dumps({"errors": errors}, ensure_ascii=False))
            sys.exit(REFUSED)
        json.dump(evaluate(building), sys.stdout, ensure_ascii=False, allow_nan=False)
        sys.stdout.write("\n")


def _bytes_of(file: str) -> bytes:
    """The document's bytes, from a file or standard input.

    Raises
    ------
    DocumentError
        If the file cannot be read.
    """
    if file == "-":
        return sys.stdin.buffer.read()
    try:
        return Path(file).read_bytes()
    except OSError as error:
        reason = error.strerror or str(error)
        refusal = Refusal(pointer="", message=f"{file} cannot be read: {reason}.")
        raise DocumentError((refusal,)) from error
