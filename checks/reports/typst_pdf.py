"""Typesetting of blocks as PDF with typst.

Typst is imported with the first report. Only the fonts inside its wheel are used, so
that a report looks the same wherever it is made, and it reads no file but those built
here.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from checks.reports.blocks import Block, DrawingFigure, PhotographFigure
from core.vocabulary import Verdict

TEMPLATE_DIR = Path(__file__).parent / "paper"
PAPER_SIZES = {"imperial": "us-letter", "decimal": "us-letter", "metric": "a4"}
# At this scale the text of a drawing is as large as that of the page.
MAX_MM_PER_UNIT = 0.24
# PDF/A-3 (ISO 19005-3): self-contained, files may be attached.
PDF_STANDARDS: Any = ["a-3b"]


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
    """
    import typst  # not needed before the first report

    # Through a folder: in memory typst takes text alone.
    with TemporaryDirectory(prefix="padstone-") as folder:
        root = Path(folder)
        for name, content in build_files(report).items():
            (root / name).write_bytes(content)
        pdf: Any = typst.compile(
            root / "main.typ",
            root=root,
            font_paths=_load_fonts(),
            format="pdf",
            # Without it the PDF would differ with each rendering.
            timestamp=report.made_at.replace(microsecond=0),
            pdf_standards=PDF_STANDARDS,
            pdf_tags=report.tagged,
        )
    return bytes(pdf)


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


@cache
def _load_fonts() -> Any:
    import typst

    return typst.Fonts(include_system_fonts=False)
