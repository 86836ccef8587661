"""`manage.py verify_release FILE|DIGEST`: was this release signed here?"""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from checks.reports.formatting import format_person, format_utc_time
from checks.reports.verification import (
    DIGEST,
    NotAReleaseError,
    ReleaseVerification,
    verify_release_digest,
    verify_release_file,
)

EXIT_NOT_VERIFIED = 1


class Command(BaseCommand):
    """Look up a digest, or what a PDF or a record gives for one."""

    help = (
        "Say whether a release's PDF, its record (JSON) or a digest is of a release"
        " signed here whose kept record still gives that digest. Exits 1 when not."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", metavar="FILE|DIGEST")

    def handle(self, *args: Any, what: str, **options: Any) -> None:
        """Look, and say what was found."""
        path = Path(what)
        if DIGEST.fullmatch(what) and not path.exists():
            proof = verify_release_digest(what)
        else:
            proof = _verify_file(path)
        if proof.release is None:
            msg = (
                f"No release signed here has the digest {proof.digest}, or its record"
                " no longer gives it. Do not rely on this paper."
            )
            raise CommandError(msg, returncode=EXIT_NOT_VERIFIED)
        for line in _describe_proof(proof):
            self.stdout.write(line)
        if not proof.is_valid:
            msg = (
                "The record inside the file is not the one that was signed: do not"
                " rely on this paper. Print it anew with the report command."
            )
            raise CommandError(msg, returncode=EXIT_NOT_VERIFIED)


def _verify_file(path: Path) -> ReleaseVerification:
    try:
        return verify_release_file(path.read_bytes())
    except OSError as fault:
        msg = f"{path} is no digest (64 characters, 0 to 9 and a to f) and no file"
        raise CommandError(f"{msg}: {fault.strerror or fault}.") from fault
    except NotAReleaseError as fault:
        raise CommandError(f"{path}: {fault}") from fault


def _describe_proof(proof: ReleaseVerification) -> list[str]:
    assert proof.release is not None  # noqa: S101  # the caller saw to it
    record = proof.release.record
    lines = [
        f"{proof.release.get_kind_display().capitalize()} of"
        f" {record['building']['name']}, job {record['job']['number']}",
        f"signed by {format_person(record['signed_by'])}, {format_utc_time(record['signed_at'])}",
        f"SHA-256 {proof.digest}",
        "The record kept here still gives this digest.",
    ]
    if proof.attachment_matches:
        lines.append("The record inside the file gives it too.")
    if proof.print_matches:
        lines.append("The file is to the byte what this program prints of that record.")
    elif proof.print_matches is False:
        lines.append(
            "The pages are not to the byte what this version prints: they come from"
            " another version, or were altered. Only the attached record is proved."
        )
    return lines
