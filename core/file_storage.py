"""Storages of files that are written once: in a folder, durably.

`core.object_storage` stores the same files on an S3 server.
"""

import os
from pathlib import Path
from tempfile import NamedTemporaryFile

from django.core.files.base import File
from django.core.files.storage import FileSystemStorage

READ_ONLY_MODE = 0o440


class DurableFileStorage(FileSystemStorage):
    """Stores a file complete or not at all, and never over another.

    A file is written under a temporary name, synced to disk and then linked to its
    final name.
    """

    def get_available_name(self, name: str, max_length: int | None = None) -> str:
        """Return the name as it is: names are digests, so equal names are one file."""
        return name

    def _save(self, name: str, content: "File[bytes]") -> str:
        path = Path(self.path(name))
        path.parent.mkdir(parents=True, exist_ok=True)
        with NamedTemporaryFile(dir=path.parent, prefix=".new-") as file:
            for chunk in content.chunks():
                file.write(chunk)
            file.flush()
            os.fchmod(file.fileno(), READ_ONLY_MODE)
            os.fsync(file.fileno())
            try:
                os.link(file.name, path)
            except FileExistsError:
                return name  # another process stored the same file meanwhile
        _sync_folder(path.parent)
        return name


def _sync_folder(folder: Path) -> None:
    """Sync the folder so that the new entry survives a power failure."""
    opened = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
