"""Content-addressed files under `MEDIA_ROOT`: named by their SHA-256, written once.

A file is complete or absent: it is written under a temporary name, synced to disk and
then linked to its final name. The file is stored before the row that names it.
"""

import hashlib
import os
from pathlib import Path
from tempfile import NamedTemporaryFile

from django.conf import settings

STORE_FOLDER = "photographs"
READ_ONLY_MODE = 0o440


class FileStoreError(Exception):
    """A file that the record names is missing or damaged."""


def store_file(content: bytes) -> str:
    """Store a file and return its SHA-256; an existing file is left alone."""
    digest = hashlib.sha256(content).hexdigest()
    path = path_for(digest)
    if path.exists():
        return digest
    path.parent.mkdir(parents=True, exist_ok=True)
    with NamedTemporaryFile(dir=path.parent, prefix=".new-") as file:
        file.write(content)
        file.flush()
        os.fchmod(file.fileno(), READ_ONLY_MODE)
        os.fsync(file.fileno())
        try:
            os.link(file.name, path)
        except FileExistsError:
            return digest  # another process stored the same file meanwhile
    _sync_folder(path.parent)
    return digest


def load_file(digest: str) -> bytes:
    """Load a file.

    Raises
    ------
    LostFileError
        If it is missing, or its content has another digest.
    """
    try:
        content = path_for(digest).read_bytes()
    except OSError as fault:
        msg = f"The file {digest} is missing. Restore it from the backup."
        raise FileStoreError(msg) from fault
    if hashlib.sha256(content).hexdigest() != digest:
        msg = f"The file {digest} is damaged. Restore it from the backup."
        raise FileStoreError(msg)
    return content


def path_for(digest: str) -> Path:
    """Return the path of the file with this digest."""
    return Path(settings.MEDIA_ROOT) / STORE_FOLDER / digest[:2] / f"{digest}.jpg"


def _sync_folder(folder: Path) -> None:
    """Sync the folder so that the new entry survives a power failure."""
    opened = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
