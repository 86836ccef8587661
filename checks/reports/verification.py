"""Verification of a release: its digest, its PDF, or its record as JSON.

A release PDF names its digest in its metadata (XMP, ISO 16684-1, which PDF/A keeps in
plain text) and carries the signed record as a compressed stream. Both are found without
parsing the pages, so that a damaged or altered file can be examined too.
"""

import hashlib
import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from django.urls import reverse

from checks.models import Release
from checks.reports.release_report import render_release_pdf
from checks.services.releases import find_verified_release
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.input.json_text import load_json
from jobs.exchange.issues import DocumentError, IssueCollector

PDF_HEADER = b"%PDF-"
DIGEST = re.compile(r"[0-9a-fA-F]{64}")
_KEYWORDS = re.compile(
    rb"<pdf:Keywords>sha256:([0-9a-f]{64}), ([^<\s]*)</pdf:Keywords>"
)
_STREAM = re.compile(rb"stream\r?\n(.*?)\r?\nendstream", re.DOTALL)
MAX_RECORD_BYTES = 100_000_000  # unpacked


class NotAReleaseError(ValueError):
    """The file is neither the PDF of a release nor a record of one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseVerification:
    """Result of verifying a digest, or a file with one.

    Attributes
    ----------
    digest : str
        The digest that was given, or that the file names.
    release : Release or None
        The release signed here whose stored record still gives that digest.
    attachment_matches : bool or None
        True where the record inside a PDF gives the digest; None for other files.
    print_matches : bool or None
        True where the PDF is byte for byte the one this program renders of the record;
        None where no release is known. Another version of the program may typeset the
        same record differently.
    """

    digest: str
    release: Release | None
    attachment_matches: bool | None = None
    print_matches: bool | None = None

    @property
    def is_valid(self) -> bool:
        """True where it was signed here and its attached record is unaltered."""
        return self.release is not None and self.attachment_matches is not False


def verify_release_digest(value: str) -> ReleaseVerification:
    """Verify a digest."""
    return ReleaseVerification(
        digest=value.lower(), release=find_verified_release(value)
    )


def verify_release_file(content: bytes) -> ReleaseVerification:
    """Verify the PDF of a release, or its record as JSON.

    Raises
    ------
    NotAReleaseError
        If the file is neither; the message names what is expected.
    """
    return (
        _verify_pdf(content)
        if content.startswith(PDF_HEADER)
        else _verify_record(content)
    )


def _verify_record(content: bytes) -> ReleaseVerification:
    issues = IssueCollector()
    try:
        record = load_json(content, issues)
        issues.raise_if_any()
        value = sha256_of(record)
    except (DocumentError, TypeError, ValueError):
        msg = "This file is neither the PDF of a release nor its record as JSON."
        raise NotAReleaseError(msg) from None
    return verify_release_digest(value)


def _verify_pdf(content: bytes) -> ReleaseVerification:
    keywords = _KEYWORDS.search(content)
    if keywords is None:
        msg = (
            "This PDF contains no digest of a release. It may be another document, or"
            " a copy that was printed or saved again. Type the digest from the foot of"
            " its pages instead."
        )
        raise NotAReleaseError(msg)
    value, address = keywords[1].decode(), keywords[2].decode()
    release = find_verified_release(value)
    return ReleaseVerification(
        digest=value,
        release=release,
        attachment_matches=any(
            hashlib.sha256(stream).hexdigest() == value
            for stream in _iter_streams(content)
        ),
        print_matches=None
        if release is None
        else _matches_print(release, address, content),
    )


def _matches_print(release: Release, address: str, content: bytes) -> bool:
    # The address in the PDF holds the site it was printed for.
    site = address.removesuffix(reverse("checks:verify_digest", args=[release.digest]))
    return render_release_pdf(release.record, site) == content


def _iter_streams(content: bytes) -> Iterator[bytes]:
    """Unpack every compressed stream of a PDF, except those that grow too large."""
    for found in _STREAM.finditer(content):
        unpack = zlib.decompressobj()
        try:
            stream = unpack.decompress(found[1], MAX_RECORD_BYTES)
        except zlib.error:
            continue
        if not unpack.unconsumed_tail:
            yield stream
