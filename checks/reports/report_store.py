"""Store of typeset reports, and of those being typeset, shared by all web processes.

`KEY.pdf` is a finished report; the folder `KEY.job` exists while one is typeset.
Nothing here is evidence: a report that was removed is typeset again. Another machine
has a store of its own.
"""

import contextlib
import hashlib
import shutil
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path

from django.conf import settings

from checks.reports.typeset_process import OPTIONS_FILE
from checks.reports.typst_pdf import (
    TYPESETTING_TIMEOUT_S,
    Report,
    TypesettingError,
    start_typesetting,
    wait_for_process,
    write_files,
)
from core.program_version import fingerprint_program

MAX_STORE_BYTES = 200_000_000
MAX_AGE_S = 3600  # "as of" on a status report is at most an hour ago
ABANDONED_AFTER_S = TYPESETTING_TIMEOUT_S + 60
POLL_INTERVAL_S = 0.05
FAILURE_FILE = "failed.txt"


def build_report_key(*parts: object) -> str:
    """Build the key of a report from what it shows; a new program has new keys."""
    text = "\n".join(map(str, (fingerprint_program(), *parts)))
    return hashlib.sha256(text.encode()).hexdigest()


def load_report(key: str) -> bytes | None:
    """Load a finished report; None where there is none, or it is too old."""
    path = _pdf_path(key)
    try:
        if time.time() - path.stat().st_mtime > MAX_AGE_S:
            return None
        return path.read_bytes()
    except FileNotFoundError:
        return None


def request_report(
    key: str, compose: Callable[[], Report], wait_s: float
) -> bytes | None:
    """Load a report, or start to typeset it and wait a moment.

    Parameters
    ----------
    key : from `build_report_key`.
    compose : composes the report, where nobody has started it yet.
    wait_s : longest wait. [s]

    Returns
    -------
    bytes or None
        The PDF; None while it is being typeset.

    Raises
    ------
    TypesettingError
        If it was tried and failed; the next request tries again.
    """
    until = time.monotonic() + wait_s
    if (pdf := load_report(key)) is not None:
        return pdf
    _start_once(key, compose)
    while time.monotonic() < until and _job_folder(key).exists():
        _raise_failure(key)
        time.sleep(POLL_INTERVAL_S)
    _raise_failure(key)
    return load_report(key)


def measure_progress(key: str) -> float | None:
    """Return for how long a report has been typeset; None where it is not. [s]"""
    try:
        started = (_job_folder(key) / OPTIONS_FILE).stat().st_mtime
    except FileNotFoundError:
        return None
    return max(0.0, time.time() - started)


def _start_once(key: str, compose: Callable[[], Report]) -> None:
    """Start to typeset a report unless another request or process has."""
    folder = _job_folder(key)
    folder.parent.mkdir(parents=True, exist_ok=True)
    _remove_surplus(folder.parent)
    try:
        folder.mkdir()  # only one of several requests makes it
    except FileExistsError:
        return
    try:
        write_files(compose(), folder)
        process = start_typesetting(folder, _pdf_path(key))
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    threading.Thread(target=_finish, args=(process, folder), daemon=True).start()


def _finish(process: "subprocess.Popen[bytes]", folder: Path) -> None:
    """Remove the files of a report once it is typeset, or keep why it was not."""
    try:
        wait_for_process(process, folder)
    except TypesettingError as fault:
        (folder / FAILURE_FILE).write_text(str(fault))
    else:
        shutil.rmtree(folder, ignore_errors=True)


def _raise_failure(key: str) -> None:
    folder = _job_folder(key)
    try:
        reason = (folder / FAILURE_FILE).read_text()
    except FileNotFoundError:
        return
    shutil.rmtree(folder, ignore_errors=True)
    raise TypesettingError(reason)


def _remove_surplus(folder: Path) -> None:
    """Remove abandoned work, old reports, and the oldest of too many."""
    now, total = time.time(), 0
    for path in folder.glob("*.job"):
        with contextlib.suppress(FileNotFoundError):
            if now - path.stat().st_ctime > ABANDONED_AFTER_S:
                shutil.rmtree(path, ignore_errors=True)
    found = []
    for path in folder.glob("*.pdf"):
        with contextlib.suppress(FileNotFoundError):
            found.append((path.stat(), path))
    for stat, path in sorted(found, key=lambda each: -each[0].st_mtime):
        total += stat.st_size
        if total > MAX_STORE_BYTES or now - stat.st_mtime > MAX_AGE_S:
            path.unlink(missing_ok=True)


def _pdf_path(key: str) -> Path:
    return Path(settings.REPORT_FOLDER) / f"{key}.pdf"


def _job_folder(key: str) -> Path:
    return Path(settings.REPORT_FOLDER) / f"{key}.job"
