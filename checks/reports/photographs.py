"""Photographs of a record: shown for findings and work, listed for checks.

The record names photographs by the SHA-256 of their files, which are loaded here. A
record that is older than photographs names none.
"""

import logging
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from checks.labels import describe_check_key
from checks.reports.blocks import (
    Block,
    PhotographFigure,
    code,
    columns,
    heading,
    lines,
    photographs,
    table,
)
from checks.reports.formatting import format_person, format_utc_time
from checks.services.file_store import FileStoreError, load_file
from core.formatting import EM_DASH

logger = logging.getLogger(__name__)

Row = Mapping[str, Any]


def get_work_photographs(work: Row | None) -> Sequence[Row]:
    """Return the photographs of a report of work, added with it or later."""
    rows: Sequence[Row] = (work or {}).get("photographs", ())
    return rows


def compose_finding_photographs(record: Row, finding: Row) -> Iterator[Block]:
    """Compose the photographs of a finding, then those of the work ordered for it."""
    figures = [
        _build_figure(row, "")
        for row in record.get("photographs", ())
        if row["finding"] == finding["finding"]
    ]
    figures += [
        _build_figure(row, "Carried out")
        for decision in finding["decisions"]
        for row in get_work_photographs(decision["carried_out"])
    ]
    if figures:
        yield photographs(figures)


def compose_photograph_list(record: Row) -> Iterator[Block]:
    """Compose the list of photographs of checks and of the building, by digest."""
    rows = [
        [
            describe_check_key(row["check"]) or EM_DASH,
            lines(row["caption"] or EM_DASH, code(row["digest"])),
            format_utc_time(row["taken_at"]).removesuffix(" UTC"),
            row["recorded_by"]["name"],
        ]
        for row in record.get("photographs", ())
        if row["finding"] is None
    ]
    if rows:
        yield heading("Photographs", 2)
        titles = ("Check", "What it shows, and SHA-256", "Taken (UTC)", "By")
        yield table(columns(*titles, wide=titles[1]), rows, small=True)


def _build_figure(row: Row, heading: str) -> PhotographFigure:
    try:
        content = load_file(row["digest"])
    except FileStoreError:  # a lost file must not keep the report from being made
        logger.exception("A photograph of a report is missing in the file store.")
        content = None
    caption = ": ".join(part for part in (heading, row["caption"]) if part)
    return PhotographFigure(
        content=content,
        aspect_ratio=row["height"] / row["width"],
        caption_lines=(
            caption,
            f"{format_person(row['recorded_by'])}, {format_utc_time(row['taken_at'])}",
        ),
        digest=row["digest"],
        alt_text=f"Photograph. {caption}".strip(),
    )
