"""`manage.py verify_release FILE|DIGEST`: verify a release signed here."""

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
    """Verifies a digest, a PDF or a record against the releases signed here."""

    help = (
        "Verify that a PDF, a record (JSON) or a digest belongs to a release signed"
        " here whose stored record still has that digest. Exits 1 if not."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", metavar="FILE|DIGEST")

    def handle(self, *args: Any, what: str, **options: Any) -> None:
        """Verify, and report the outcome."""
        path = Path(what)
        if DIGEST.fullmatch(what) and not path.exists():
            proof = verify_release_digest(what)
        else:
            proof = _verify_file(path)
        if proof.release is None:
            msg = (
                f"No release signed here has the digest {proof.digest}, or its record"
                " does not match it any more. Do not rely on this document."
            )
            raise CommandError(msg, returncode=EXIT_NOT_VERIFIED)
        for line in _describe_proof(proof):
            self.stdout.write(line)
        if not proof.is_valid:
            msg = (
                "The record inside the file is not the one that was signed. Do not"
                " rely on this document. Print it again with the report command."
            )
            raise CommandError(msg, returncode=EXIT_NOT_VERIFIED)


def _verify_file(path: Path) -> ReleaseVerification:
    try:
        return verify_release_file(path.read_bytes())
    except OSError as fault:
        msg = (
            f"{path} is neither a digest (64 characters, 0 to 9 and a to f) nor a file"
        )
        raise CommandError(f"{msg}: {fault.strerror or fault}.") from fault
    except NotAReleaseError as fault:
        raise CommandError(f"{path}: {fault}") from fault


def _describe_proof(proof: ReleaseVerification) -> list[str]:
    assert proof.release is not None  # noqa: S101  # checked by the caller
    record = proof.release.record
    building, job = record["building"]["name"], record["job"]["number"]
    signer = format_person(record["signed_by"])
    lines = [
        f"{proof.release.get_kind_display()} of {building}, job {job}",
        f"signed by {signer}, {format_utc_time(record['signed_at'])}",
        f"SHA-256 {proof.digest}",
        "The record stored here has this digest.",
    ]
    if proof.attachment_matches:
        lines.append("The record inside the file has it too.")
    if proof.print_matches:
        lines.append(
            "The file is identical to what this program prints of that record."
        )
    elif proof.print_matches is False:
        lines.append(
            "The pages differ from what this version prints: they come from another"
            " version, or were altered. Only the attached record is verified."
        )
    return lines
