"""Helpers of commands that read files."""

import sys
from pathlib import Path

from django.core.management.base import CommandError

from jobs.exchange.issues import DocumentIssue

EXIT_REFUSED = 2


def read_bytes(file: str) -> bytes:
    """Read a file, or standard input for `-`.

    Raises
    ------
    CommandError
        If it cannot be read.
    """
    if file == "-":
        return sys.stdin.buffer.read()
    try:
        return Path(file).read_bytes()
    except OSError as fault:
        msg = f"{file} cannot be read: {fault.strerror or fault}."
        raise CommandError(msg) from fault


def format_refusal(refusal: DocumentIssue) -> str:
    """Format an issue in one line: location and message."""
    where = refusal.where
    return f"{where}: {refusal.message}" if where else refusal.message
