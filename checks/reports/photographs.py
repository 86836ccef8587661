"""A record's photographs on paper: those of findings and work shown, the rest listed.

The record names them by their digests; the files of those digests are fetched. A record
of before there were any names none.
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


def get_work_photographs(done: Row | None) -> Sequence[Row]:
    """Those that came with a report of work, or were added to it."""
    return (done or {}).get("photographs", ())


def compose_finding_photographs(record: Row, finding: Row) -> Iterator[Block]:
    """Show those of a finding, then those of the work that was ordered about it."""
    taken = [
        _build_figure(row, "")
        for row in record.get("photographs", ())
        if row["finding"] == finding["finding"]
    ]
    taken += [
        _build_figure(row, "Carried out")
        for made in finding["decisions"]
        for row in get_work_photographs(made["carried_out"])
    ]
    if taken:
        yield photographs(taken)


def compose_photograph_list(record: Row) -> Iterator[Block]:
    """List those of checks and of the building, by their digests."""
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


def _build_figure(row: Row, of: str) -> PhotographFigure:
    try:
        content = load_file(row["digest"])
    except FileStoreError:
        logger.exception("A photograph is missing on paper.")
        content = None
    told = ": ".join(part for part in (of, row["caption"]) if part)
    return PhotographFigure(
        content=content,
        aspect_ratio=row["height"] / row["width"],
        caption_lines=(
            told,
            f"{format_person(row['recorded_by'])}, {format_utc_time(row['taken_at'])}",
        ),
        digest=row["digest"],
        alt_text=f"Photograph. {told}".strip(),
    )
