"""Stored files on this machine, to damage or remove them."""

from pathlib import Path

from django.core.files.storage import default_storage

from checks.services.file_store import name_for


def path_of(digest: str) -> Path:
    """Return the path of a stored file."""
    return Path(default_storage.path(name_for(digest)))
