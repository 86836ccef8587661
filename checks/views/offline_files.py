"""The files that a phone keeps for the walk: those its pages name, and their imports.

The list is read from the templates and scripts themselves, so that a file which a page
needs cannot be missing on a phone without a network.
"""

import hashlib
import re
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.template.loader import get_template

SERVICE_WORKER_SCRIPT = "checks/service-worker.js"
OFFLINE_TEMPLATES = ("core/base.html", "checks/measure.html", "checks/offline.html")
STATIC_TAG = re.compile(r'\{% static "([^"]+)" %\}')
MODULE_IMPORT = re.compile(r'^import\s[^;]*?"\./([^"]+)";', re.MULTILINE)


def list_offline_files() -> tuple[str, ...]:
    """List the static files of the walk's pages by name, without duplicates."""
    names: dict[str, None] = {}
    for template in OFFLINE_TEMPLATES:
        for name in STATIC_TAG.findall(_read_template(template)):
            _add_with_imports(names, name)
    return tuple(names)


def _read_template(name: str) -> str:
    source: str = get_template(name).template.source  # type: ignore[attr-defined]
    return source


def _add_with_imports(names: dict[str, None], name: str) -> None:
    """Add a file and, where it is a module, what it imports, directly or not."""
    if name in names:
        return
    names[name] = None
    if name.endswith(".js"):
        folder = Path(name).parent
        for imported in MODULE_IMPORT.findall(_find_file(name).read_text("utf-8")):
            _add_with_imports(names, str(folder / imported))


def _find_file(name: str) -> Path:
    path = finders.find(name)
    if not isinstance(path, str):
        msg = f"A page names the static file {name}, which does not exist."
        raise FileNotFoundError(msg)
    return Path(path)


def get_files_version() -> str:
    """Return a text that changes with every change of a file a phone keeps."""
    manifest_hash: str = getattr(staticfiles_storage, "manifest_hash", "")
    if manifest_hash:
        return manifest_hash
    # While developing, files change under a running server.
    return _hash_files() if settings.DEBUG else _hash_files_once()


def _hash_files() -> str:
    content_hash = hashlib.sha256()
    for name in (*list_offline_files(), SERVICE_WORKER_SCRIPT):
        content_hash.update(_find_file(name).read_bytes())
    return content_hash.hexdigest()[:12]


_hash_files_once = lru_cache(maxsize=1)(_hash_files)
