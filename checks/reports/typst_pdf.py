"""Blocks to PDF: the one place that knows typst.

Typst is loaded when the first report is asked for. Only the fonts inside its wheel
are used, so that a report looks the same wherever it is made; it reads nothing but
what it is handed here.
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

TEMPLATE_DIR = Path(__file__).parent / "paper"
VERDICT_SHAPES = ("within", "outside", "remeasure", "unmeasured")
PAPER_SIZES = {"imperial": "us-letter", "decimal": "us-letter", "metric": "a4"}
MAX_MM_PER_UNIT = (
    0.24  # at most, of a drawing: its words are then as large as the page's
)
PDF_STANDARDS: Any = [
    "a-3b"
]  # PDF/A-3 (ISO 19005-3): self-contained, files may be attached


@dataclass(frozen=True, slots=True, kw_only=True)
class Attachment:
    """A file that travels inside the PDF."""

    name: str
    description: str
    content: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A whole report, ready to be set.

    Attributes
    ----------
    title, subtitle, place : what it is, of which building, on which job.
    size : paper, as `SIZES` has it.
    foot : what stands at the foot of every page, such as a digest.
    keywords : what a program finds in the file without reading its pages.
    tagged : whether its structure is in the file, for those who are read to; it is
        most of the file, and a sheet to write on does without.
    made_at : the date in the file; the same report has the same.
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
    """Set a report: PDF/A-3, the same bytes for the same report.

    A photograph is in it byte for byte, so that its digest can be taken anew.
    """
    import typst

    # In a folder of its own: handed over in memory, a file could only be text.
    with TemporaryDirectory(prefix="padstone-") as folder:
        place = Path(folder)
        for name, content in build_files(report).items():
            (place / name).write_bytes(content)
        pdf: Any = typst.compile(
            place / "main.typ",
            root=place,
            font_paths=_load_fonts(),
            format="pdf",
            timestamp=report.made_at.replace(microsecond=0),
            pdf_standards=PDF_STANDARDS,
            pdf_tags=report.tagged,
        )
    return bytes(pdf)


def build_files(report: Report) -> dict[str, bytes]:
    """Write everything typst reads for a report, by file name."""
    files = {"main.typ": (TEMPLATE_DIR / "report.typ").read_bytes()}
    for shape in VERDICT_SHAPES:
        files[f"{shape}.svg"] = (TEMPLATE_DIR / f"{shape}.svg").read_bytes()
    data: dict[str, Any] = {
        "title": report.title,
        "subtitle": report.subtitle,
        "place": report.job_line,
        "size": report.size,
        "foot": report.footer,
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
                "described": attached.description,
            }
        )
    files["data.json"] = json.dumps(data, ensure_ascii=False).encode()
    return files


def _write_figures(
    blocks: Iterable[Mapping[str, Any]], files: dict[str, bytes]
) -> Iterable[dict[str, Any]]:
    """Give every picture a file of its own, and leave its name in the block."""
    for block in blocks:
        if block["is"] == "photographs":
            yield {
                **block,
                "photographs": _write_photographs(block["photographs"], files),
            }
            continue
        if block["is"] != "pictures":
            yield dict(block)
            continue
        rows = []
        drawn: DrawingFigure
        for drawn in block["pictures"]:
            name = f"drawing-{len(files)}.svg"
            files[name] = drawn.svg.encode()
            rows.append(
                {
                    "file": name,
                    "tall": drawn.height / drawn.width,
                    "widest": drawn.width * MAX_MM_PER_UNIT,
                    "described": drawn.alt_text,
                    "caption": drawn.caption,
                }
            )
        yield {**block, "pictures": rows}


def _write_photographs(
    taken: Sequence[PhotographFigure], files: dict[str, bytes]
) -> list[Any]:
    """Hand over each photograph once, under its digest."""
    rows = []
    for photo in taken:
        name = f"{photo.digest}.jpg" if photo.content is not None else ""
        if photo.content is not None:
            files[name] = photo.content
        rows.append(
            {
                "file": name,
                "tall": photo.aspect_ratio,
                "told": list(photo.caption_lines),
                "digest": photo.digest,
                "described": photo.alt_text,
            }
        )
    return rows


@cache
def _load_fonts() -> Any:
    import typst

    return typst.Fonts(include_system_fonts=False)
