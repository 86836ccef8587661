"""`python -m checks.reports.typeset_process FOLDER TARGET`: one PDF, then exit.

Typst remembers what it has typeset, without a bound: eighteen reports left 2.7 GB in a
process. Here that memory goes with the process. It imports neither Django nor NumPy, so
that starting it costs little beside the typesetting.
"""

import contextlib
import fcntl
import json
import os
import resource
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from checks.reports.pdf_packing import pack_pdf

# A report of 60 positions takes 0.5 GB. Past this bound the process ends, not others.
MAX_MEMORY_BYTES = 3 * 1024**3
OPTIONS_FILE = "options.json"
# PDF/A-3 (ISO 19005-3): self-contained, files may be attached.
PDF_STANDARDS: Any = ["a-3b"]


def main(folder: Path, target: Path) -> None:
    """Typeset the files of a folder, and move the finished PDF to its target."""
    resource.setrlimit(resource.RLIMIT_AS, (MAX_MEMORY_BYTES, MAX_MEMORY_BYTES))
    with _take_slot(target.parent):
        pdf = pack_pdf(_typeset(folder))
    unfinished = folder / "finished.pdf"
    unfinished.write_bytes(pdf)
    unfinished.replace(target)


def _typeset(folder: Path) -> bytes:
    import typst  # after the memory bound

    options = json.loads((folder / OPTIONS_FILE).read_bytes())
    pdf: Any = typst.compile(
        folder / "main.typ",
        root=folder,
        font_paths=typst.Fonts(include_system_fonts=False),
        format="pdf",
        # Without it the PDF would differ with each rendering.
        timestamp=datetime.fromisoformat(options["made_at"]),
        pdf_standards=PDF_STANDARDS,
        pdf_tags=options["tagged"],
    )
    return bytes(pdf)


@contextlib.contextmanager
def _take_slot(folder: Path) -> Iterator[None]:
    """Wait until fewer reports than processors are being typeset in this folder."""
    slots = [folder / f".slot-{number}" for number in range(os.cpu_count() or 1)]
    with contextlib.ExitStack() as opened:
        files = [opened.enter_context(slot.open("w")) for slot in slots]
        for file in files:
            with contextlib.suppress(BlockingIOError):
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
        else:
            fcntl.flock(files[os.getpid() % len(files)], fcntl.LOCK_EX)
        yield


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
