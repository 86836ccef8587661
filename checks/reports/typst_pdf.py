"""Typesetting of blocks as PDF with typst, in a process of its own.

Only the fonts inside typst's wheel are used, so that a report looks the same wherever
it is made, and it reads no file but those built here.
"""

import json
import os
import subprocess
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.conf import settings

from checks.reports.blocks import Block, DrawingFigure, PhotographFigure
from checks.reports.typeset_process import OPTIONS_FILE
from core.vocabulary import Verdict

TEMPLATE_DIR = Path(__file__).parent / "paper"
PAPER_SIZES = {"imperial": "us-letter", "decimal": "us-letter", "metric": "a4"}
# At this scale the text of a drawing is as large as that of the page.
MAX_MM_PER_UNIT = 0.24
PROCESS_MODULE = "checks.reports.typeset_process"
LOG_FILE = "log.txt"
MAX_LOG_LENGTH = 2000
TYPESETTING_TIMEOUT_S = 300


class TypesettingError(Exception):
    """A report could not be typeset; the message says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Attachment:
    """A file inside the PDF."""

    name: str
    description: str
    content: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A whole report, ready to be typeset.

    Attributes
    ----------
    title, subtitle, job_line : str
        The kind of report, the building, and the job.
    size : str
        Paper size; see `PAPER_SIZES`.
    footer : str
        Printed at the foot of every page, such as a digest.
    keywords : sequence of str
        Metadata that programs find without reading the pages.
    tagged : bool
        Put the structure into the file, for screen readers. It makes up most of the
        file, and a sheet to write on does without.
    made_at : datetime
        Date of the file; the same report has the same date.
    """

    title: str
    subtitle: str
    job_line: str
    blocks: Sequence[Block]
    footer: str
    made_at: datetime
    size: str = "us-letter"
    keywords: Sequence[str] = ()
    tagged: bool = True
    attachments: Sequence[Attachment] = field(default_factory=tuple)


def render_pdf(report: Report) -> bytes:
    """Typeset a report as PDF/A-3; the same report gives the same bytes.

    Photographs are in it byte for byte, so that their digests can be verified.

    Raises
    ------
    TypesettingError
        If the process that typesets it fails.
    """
    with TemporaryDirectory(prefix="padstone-") as folder:
        root, target = Path(folder) / "report", Path(folder) / "report.pdf"
        root.mkdir()
        write_files(report, root)
        process = start_typesetting(root, target)
        wait_for_process(process, root)
        return target.read_bytes()


def write_files(report: Report, folder: Path) -> None:
    """Write all files of a report into an empty folder."""
    for name, content in build_files(report).items():
        (folder / name).write_bytes(content)
    options = {
        "made_at": report.made_at.replace(microsecond=0).isoformat(),
        "tagged": report.tagged,
    }
    (folder / OPTIONS_FILE).write_text(json.dumps(options))


def start_typesetting(folder: Path, target: Path) -> "subprocess.Popen[bytes]":
    """Start a process that typesets the files of a folder into `target`."""
    with (folder / LOG_FILE).open("wb") as log:
        return subprocess.Popen(  # noqa: S603 - our own program
            [sys.executable, "-m", PROCESS_MODULE, str(folder), str(target)],
            cwd=settings.BASE_DIR,
            env={**os.environ, "PYTHONPATH": str(settings.BASE_DIR)},
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
        )


def wait_for_process(process: "subprocess.Popen[bytes]", folder: Path) -> None:
    """Wait until a report is typeset; stop a process that takes too long.

    Raises
    ------
    TypesettingError
        If it failed or was stopped; the message has the end of its output.
    """
    try:
        code = process.wait(TYPESETTING_TIMEOUT_S)
    except subprocess.TimeoutExpired:
        process.kill()
        code = process.wait()
    if code != 0:
        output = (folder / LOG_FILE).read_text(errors="replace")[-MAX_LOG_LENGTH:]
        msg = f"The report could not be typeset (exit code {code}). {output}".strip()
        raise TypesettingError(msg)


def build_files(report: Report) -> dict[str, bytes]:
    """Build all files that typst reads for a report, by name."""
    files = {"main.typ": (TEMPLATE_DIR / "report.typ").read_bytes()}
    for shape in Verdict:
        files[f"{shape}.svg"] = (TEMPLATE_DIR / f"{shape}.svg").read_bytes()
    data: dict[str, Any] = {
        "title": report.title,
        "subtitle": report.subtitle,
        "job_line": report.job_line,
        "size": report.size,
        "footer": report.footer,
        "keywords": list(report.keywords),
        "blocks": list(_write_figures(report.blocks, files)),
        "attachments": [],
    }
    for number, attached in enumerate(report.attachments):
        files[f"attached-{number}"] = attached.content
        data["attachments"].append(
            {
                "file": f"attached-{number}",
                "name": attached.name,
                "description": attached.description,
            }
        )
    files["data.json"] = json.dumps(data, ensure_ascii=False).encode()
    return files


def _write_figures(
    blocks: Iterable[Mapping[str, Any]], files: dict[str, bytes]
) -> Iterable[dict[str, Any]]:
    """Write every drawing to a file of its own, and put its name into the block."""
    for block in blocks:
        if block["is"] == "photographs":
            yield {
                **block,
                "photographs": _write_photographs(block["photographs"], files),
            }
            continue
        if block["is"] != "figures":
            yield dict(block)
            continue
        rows = []
        figure: DrawingFigure
        for figure in block["figures"]:
            name = f"drawing-{len(files)}.svg"
            files[name] = figure.svg.encode()
            rows.append(
                {
                    "file": name,
                    "aspect_ratio": figure.height / figure.width,
                    "widest": figure.width * MAX_MM_PER_UNIT,
                    "alt": figure.alt_text,
                    "caption": figure.caption,
                }
            )
        yield {**block, "figures": rows}


def _write_photographs(
    figures: Sequence[PhotographFigure], files: dict[str, bytes]
) -> list[Any]:
    """Write every photograph once, under its digest."""
    rows = []
    for figure in figures:
        name = f"{figure.digest}.jpg" if figure.content is not None else ""
        if figure.content is not None:
            files[name] = figure.content
        rows.append(
            {
                "file": name,
                "aspect_ratio": figure.aspect_ratio,
                "caption_lines": list(figure.caption_lines),
                "digest": figure.digest,
                "alt": figure.alt_text,
            }
        )
    return rows
