"""Whether a release on paper is one that was signed here, and what of it still holds.

A PDF of ours names its digest in its metadata (XMP, ISO 16684-1, which PDF/A keeps
in plain text) and carries the signed record as a compressed stream. That is found
without reading the pages, so that a damaged or altered file can be looked at too.
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
from jobs.exchange.input.json_reader import DocumentError, IssueCollector
from jobs.exchange.input.json_text import load_json

PDF_HEADER = b"%PDF-"
DIGEST = re.compile(r"[0-9a-fA-F]{64}")
_KEYWORDS = re.compile(
    rb"<pdf:Keywords>sha256:([0-9a-f]{64}), ([^<\s]*)</pdf:Keywords>"
)
_STREAM = re.compile(rb"stream\r?\n(.*?)\r?\nendstream", re.DOTALL)
MAX_RECORD_BYTES = 100_000_000  # bytes, unpacked


class NotAReleaseError(ValueError):
    """What was given is neither a release on paper nor a record of one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseVerification:
    """What is known of a digest, or of a file that names or gives one.

    Attributes
    ----------
    digest : which release it says it is of.
    release : the release signed here whose kept record still gives that digest.
    attached : whether the record inside the file gives the digest; None where the
        file carries none to be looked at.
    printed : whether the file is to the byte what this program prints of the record;
        None where it is no PDF or nothing is known of its digest. Another version of
        the program may set the same record differently.
    """

    digest: str
    release: Release | None
    attachment_matches: bool | None = None
    print_matches: bool | None = None

    @property
    def is_valid(self) -> bool:
        """Whether it was signed here, and nothing that was looked at is altered."""
        return self.release is not None and self.attachment_matches is not False


def verify_release_digest(value: str) -> ReleaseVerification:
    """Look a digest up."""
    return ReleaseVerification(
        digest=value.lower(), release=find_verified_release(value)
    )


def verify_release_file(content: bytes) -> ReleaseVerification:
    """Look at a release as PDF, or at its record as JSON.

    Raises
    ------
    NoReleaseError
        Saying what the file should have been.
    """
    return (
        _verify_pdf(content)
        if content.startswith(PDF_HEADER)
        else _verify_record(content)
    )


def _verify_record(content: bytes) -> ReleaseVerification:
    refusals = IssueCollector()
    try:
        record = load_json(content, refusals)
        refusals.raise_if_any()
        value = sha256_of(record)
    except (DocumentError, TypeError, ValueError):
        msg = "This is neither a release's PDF nor its record as JSON."
        raise NotAReleaseError(msg) from None
    return verify_release_digest(value)


def _verify_pdf(content: bytes) -> ReleaseVerification:
    named = _KEYWORDS.search(content)
    if named is None:
        msg = (
            "This PDF names no digest of a release. It may be another paper, or one"
            " that was printed or saved anew: type the digest from its foot instead."
        )
        raise NotAReleaseError(msg)
    value, address = named[1].decode(), named[2].decode()
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
    site = address.removesuffix(reverse("checks:verify_digest", args=[release.digest]))
    return render_release_pdf(release.record, site) == content


def _iter_streams(content: bytes) -> Iterator[bytes]:
    """Every compressed stream of a PDF, unpacked; nothing that grows too large."""
    for found in _STREAM.finditer(content):
        unpack = zlib.decompressobj()
        try:
            stream = unpack.decompress(found[1], MAX_RECORD_BYTES)
        except zlib.error:
            continue
        if not unpack.unconsumed_tail:
            yield stream
