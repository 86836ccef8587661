"""A record's photographs on paper: those of findings and work shown, the rest listed.

The record names them by their digests; the files of those digests are fetched. A record
of before there were any names none.
"""

import logging
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from checks.reports.blocks import (
    NOTHING,
    Block,
    Photo,
    code,
    columns,
    heading,
    lines,
    photographs,
    table,
)
from checks.reports.hand import moment, who
from checks.services.kept_files import LostFileError, read_kept
from checks.wording import key_words

logger = logging.getLogger(__name__)

Row = Mapping[str, Any]


def of_work(done: Row | None) -> Sequence[Row]:
    """Those that came with a report of work, or were added to it."""
    return (done or {}).get("photographs", ())


def of_finding(record: Row, finding: Row) -> Iterator[Block]:
    """Show those of a finding, then those of the work that was ordered about it."""
    taken = [
        _photo(row, "")
        for row in record.get("photographs", ())
        if row["finding"] == finding["finding"]
    ]
    taken += [
        _photo(row, "Carried out")
        for made in finding["decisions"]
        for row in of_work(made["carried_out"])
    ]
    if taken:
        yield photographs(taken)


def listed(record: Row) -> Iterator[Block]:
    """List those of checks and of the building, by their digests."""
    rows = [
        [
            key_words(row["check"]) or NOTHING,
            lines(row["caption"] or NOTHING, code(row["digest"])),
            moment(row["taken_at"]).removesuffix(" UTC"),
            row["recorded_by"]["name"],
        ]
        for row in record.get("photographs", ())
        if row["finding"] is None
    ]
    if rows:
        yield heading("Photographs", 2)
        titles = ("Check", "What it shows, and SHA-256", "Taken (UTC)", "By")
        yield table(columns(*titles, wide=titles[1]), rows, small=True)


def _photo(row: Row, of: str) -> Photo:
    try:
        content = read_kept(row["digest"])
    except LostFileError:
        logger.exception("A photograph is missing on paper.")
        content = None
    told = ": ".join(part for part in (of, row["caption"]) if part)
    return Photo(
        content=content,
        tall=row["height"] / row["width"],
        told=(told, f"{who(row['recorded_by'])}, {moment(row['taken_at'])}"),
        digest=row["digest"],
        described=f"Photograph. {told}".strip(),
    )
