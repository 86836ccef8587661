"""Files kept under `MEDIA_ROOT` by their own SHA-256: written once, never over.

A file is there whole or not at all: it is written beside its place, brought to the
disk, and linked into it. Whoever stores a row that names it stores the file first.
"""

import hashlib
import os
from pathlib import Path
from tempfile import NamedTemporaryFile

from django.conf import settings

STORE_FOLDER = "photographs"
READ_ONLY_MODE = 0o440


class FileStoreError(Exception):
    """A file the record names is not there, or is not what it was."""


def store_file(content: bytes) -> str:
    """Keep a file and give its digest; one that is there already stays as it is."""
    digest = hashlib.sha256(content).hexdigest()
    place = path_for(digest)
    if place.exists():
        return digest
    place.parent.mkdir(parents=True, exist_ok=True)
    with NamedTemporaryFile(dir=place.parent, prefix=".new-") as file:
        file.write(content)
        file.flush()
        os.fchmod(file.fileno(), READ_ONLY_MODE)
        os.fsync(file.fileno())
        try:
            os.link(file.name, place)
        except FileExistsError:
            return digest  # somebody kept the same meanwhile
    _sync_folder(place.parent)
    return digest


def load_file(digest: str) -> bytes:
    """Give a file back.

    Raises
    ------
    LostFileError
        If it is not there, or its content gives another digest.
    """
    try:
        content = path_for(digest).read_bytes()
    except OSError as fault:
        msg = f"The file {digest} is not there: restore it from the backup."
        raise FileStoreError(msg) from fault
    if hashlib.sha256(content).hexdigest() != digest:
        msg = f"The file {digest} is damaged: restore it from the backup."
        raise FileStoreError(msg)
    return content


def path_for(digest: str) -> Path:
    """Say where the file of a digest is kept."""
    return Path(settings.MEDIA_ROOT) / STORE_FOLDER / digest[:2] / f"{digest}.jpg"


def _sync_folder(folder: Path) -> None:
    """Let the folder's entry outlive a failure of power, as the file does."""
    opened = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
