"""Fingerprint of the installed program, for caches that a new version must not use."""

import hashlib
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("api", "checks", "core", "jobs")
SUFFIXES = frozenset((".html", ".js", ".css", ".json", ".py", ".svg", ".toml", ".typ"))


@cache
def fingerprint_program() -> str:
    """Hash names, sizes and times of all source files, once in a process.

    The version number stays the same while somebody works on the program, and a page
    may change with a template alone.
    """
    seen = hashlib.sha256()
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*")):
            if path.suffix in SUFFIXES:
                stat = path.stat()
                name = path.relative_to(ROOT)
                seen.update(f"{name} {stat.st_size} {stat.st_mtime_ns}\n".encode())
    return seen.hexdigest()[:16]
