"""Content-addressed files in the default storage: named by their SHA-256, written once.

The settings choose where they lie: in a folder of this machine, or on a server of the
S3 protocol that several machines share. A file is stored before the row that names it.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain

from django.core.files.base import ContentFile, File
from django.core.files.storage import default_storage

STORE_FOLDER = "photographs"
CHUNK_SIZE = 1_000_000  # bytes


class FileStoreError(Exception):
    """A file that the record names is missing or damaged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FileStream:
    """A file to be sent in parts, its size in bytes.

    Iteration raises `FileStoreError` instead of the last part of a damaged file.
    """

    size: int
    chunks: Iterator[bytes]


def store_file(content: bytes) -> str:
    """Store a file and return its SHA-256; an existing file is left alone."""
    digest = hashlib.sha256(content).hexdigest()
    if not default_storage.exists(name_for(digest)):
        default_storage.save(name_for(digest), ContentFile(content))
    return digest


def load_file(digest: str) -> bytes:
    """Load a file.

    Raises
    ------
    FileStoreError
        If it is missing, or its content has another digest.
    """
    return b"".join(_verify_chunks(digest, _open_file(digest)))


def stream_file(digest: str) -> FileStream:
    """Open a file to send it in parts; one of a single part is verified before.

    Raises
    ------
    FileStoreError
        If it is missing, or is a single part with another digest.
    """
    file = _open_file(digest)
    size = file.size  # a file of a single part is closed after it
    chunks = _verify_chunks(digest, file)
    first = next(chunks)
    return FileStream(size=size, chunks=chain((first,), chunks))


def name_for(digest: str) -> str:
    """Return the name in the storage of the file with this digest."""
    return f"{STORE_FOLDER}/{digest[:2]}/{digest}.jpg"


def _open_file(digest: str) -> "File[bytes]":
    try:
        return default_storage.open(name_for(digest))
    except OSError as fault:
        msg = f"The file {digest} is missing. Restore it from the backup."
        raise FileStoreError(msg) from fault


def _verify_chunks(digest: str, file: "File[bytes]") -> Iterator[bytes]:
    """Generate the parts of a file; the last only where the digest is right."""
    sha256 = hashlib.sha256()
    before: bytes | None = None
    with file:
        for chunk in file.chunks(CHUNK_SIZE):
            if before is not None:
                yield before
            sha256.update(chunk)
            before = chunk
    if before is None or sha256.hexdigest() != digest:
        msg = f"The file {digest} is damaged. Restore it from the backup."
        raise FileStoreError(msg)
    yield before
