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
from checks.reports.release import release_pdf
from checks.services.releases import verify_digest
from jobs.exchange.canonical import digest
from jobs.exchange.json_text import load_json
from jobs.exchange.reader import DocumentError, Refusals

PDF = b"%PDF-"
DIGEST = re.compile(r"[0-9a-fA-F]{64}")
_NAMED = re.compile(rb"<pdf:Keywords>sha256:([0-9a-f]{64}), ([^<\s]*)</pdf:Keywords>")
_STREAM = re.compile(rb"stream\r?\n(.*?)\r?\nendstream", re.DOTALL)
LARGEST_RECORD = 100_000_000  # bytes, unpacked


class NoReleaseError(ValueError):
    """What was given is neither a release on paper nor a record of one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
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
    attached: bool | None = None
    printed: bool | None = None

    @property
    def holds(self) -> bool:
        """Whether it was signed here, and nothing that was looked at is altered."""
        return self.release is not None and self.attached is not False


def proof_of_digest(value: str) -> Proof:
    """Look a digest up."""
    return Proof(digest=value.lower(), release=verify_digest(value))


def proof_of_file(content: bytes) -> Proof:
    """Look at a release as PDF, or at its record as JSON.

    Raises
    ------
    NoReleaseError
        Saying what the file should have been.
    """
    return _of_pdf(content) if content.startswith(PDF) else _of_record(content)


def _of_record(content: bytes) -> Proof:
    refusals = Refusals()
    try:
        record = load_json(content, refusals)
        refusals.settle()
        value = digest(record)
    except (DocumentError, TypeError, ValueError):
        msg = "This is neither a release's PDF nor its record as JSON."
        raise NoReleaseError(msg) from None
    return proof_of_digest(value)


def _of_pdf(content: bytes) -> Proof:
    named = _NAMED.search(content)
    if named is None:
        msg = (
            "This PDF names no digest of a release. It may be another paper, or one"
            " that was printed or saved anew: type the digest from its foot instead."
        )
        raise NoReleaseError(msg)
    value, address = named[1].decode(), named[2].decode()
    release = verify_digest(value)
    return Proof(
        digest=value,
        release=release,
        attached=any(
            hashlib.sha256(stream).hexdigest() == value for stream in _streams(content)
        ),
        printed=None if release is None else _same(release, address, content),
    )


def _same(release: Release, address: str, content: bytes) -> bool:
    site = address.removesuffix(reverse("checks:verify_digest", args=[release.digest]))
    return release_pdf(release.record, site) == content


def _streams(content: bytes) -> Iterator[bytes]:
    """Every compressed stream of a PDF, unpacked; nothing that grows too large."""
    for found in _STREAM.finditer(content):
        unpack = zlib.decompressobj()
        try:
            stream = unpack.decompress(found[1], LARGEST_RECORD)
        except zlib.error:
            continue
        if not unpack.unconsumed_tail:
            yield stream
